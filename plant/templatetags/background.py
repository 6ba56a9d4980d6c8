"""How short lengths of time look on the page of background work."""

from datetime import timedelta

from django import template
from django.utils.translation import gettext as _

from plant.frame.figures import DASH, span

register = template.Library()


@register.filter
def short_span(value: timedelta | None) -> str:
    """Show a length of time in seconds below two minutes, else as every page does."""
    if value is None:
        return DASH
    seconds = value.total_seconds()
    if seconds >= 120:
        return str(span(value))
    return _("%d s") % seconds if seconds >= 1 else _("less than 1 s")
