"""What must be said wherever a kiln is named, in templates: above every page, and as marks beside a kiln's name."""

from collections.abc import Mapping
from typing import Any

from django import template
from django.urls import reverse
from django.utils.html import format_html_join
from django.utils.safestring import SafeString

from plant.templatetags.kilnward import allowed
from plant.warnings.kiln_warnings import KilnWarning, WarningKind, digest, kiln_warnings

register = template.Library()
# While a chamber is open for entry a page asks anew four times a minute; else it only has to learn that one is.
OPEN_EVERY_S, QUIET_EVERY_S = 15, 60


@register.inclusion_tag("warnings/_kiln_warnings.html", takes_context=True, name="kiln_warnings")
def banner(context: Mapping[str, Any]) -> dict[str, Any]:
    """{% kiln_warnings %}: all of them, once a page; the page asks for them anew by itself."""
    found = _of_request(context)
    is_asked_anew = allowed(context.get("user"), "see home")
    return {
        "alarms": [one for one in found if one.kind is WarningKind.ALARM],
        "others": [one for one in found if one.kind in (WarningKind.BARRED, WarningKind.OVERDUE)],
        "address": f"{reverse('plant:kiln-warnings')}?seen={digest(found)}" if is_asked_anew else "",
        "every_s": OPEN_EVERY_S if any(one.kind is not WarningKind.BARRED for one in found) else QUIET_EVERY_S,
    }


@register.simple_tag(takes_context=True)
def kiln_marks(context: Mapping[str, Any], tag: str, only: str = "") -> SafeString:
    """{% kiln_marks kiln.tag %}: the marks that belong beside a kiln's name, all or of a kind; asks nothing anew."""
    marks = {one.mark: None for one in _of_request(context) if one.kiln == tag and only in ("", one.kind)}
    return format_html_join(" ", '<span class="tag tag-alarm kiln-mark">{}</span>', ((mark,) for mark in marks))


@register.simple_tag(takes_context=True)
def kiln_sentences(context: Mapping[str, Any], tag: str) -> SafeString:
    """{% kiln_sentences kiln.tag %}: what must be said of a kiln, in full."""
    said = [(one.kind, one.sentence) for one in _of_request(context) if one.kiln == tag]
    return format_html_join("", '<p class="note note-error warning-{}"><strong>{}</strong></p>', said)


def _of_request(context: Mapping[str, Any]) -> list[KilnWarning]:
    """Return all warnings, read once a request."""
    request: Any = context.get("request")
    if request is None:
        return kiln_warnings()
    if not hasattr(request, "kiln_warnings"):
        request.kiln_warnings = kiln_warnings()
    found: list[KilnWarning] = request.kiln_warnings
    return found
