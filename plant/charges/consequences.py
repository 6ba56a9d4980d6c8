"""What no longer holds after the programme of a kiln was changed: asked here, answered above through a registry."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

from django.contrib import messages
from django.http import HttpRequest
from django.utils.html import format_html
from django.utils.translation import gettext as _

from plant.frame.requests import user_of
from plant.models import Kiln, User


@dataclass(frozen=True, slots=True)
class NoLongerHolds:
    """Something that was arranged on a kiln and does not hold any more: what, why, and where it is mended."""

    what: str
    why: str
    url: str


Source = Callable[[Collection[Kiln], User], Sequence[NoLongerHolds]]
_sources: list[Source] = []


def register(source: Source) -> None:
    """Let a storey above say what no longer holds, to who may see it; asked twice, it is asked once."""
    if source not in _sources:
        _sources.append(source)


def say_consequences(request: HttpRequest, kilns: Collection[Kiln]) -> None:
    """Say on the answer page what on these kilns no longer holds."""
    for source in _sources:
        for one in source(kilns, user_of(request)):
            link = format_html('<a href="{}">{}</a>', one.url, one.what)
            messages.warning(request, format_html(_("No longer in place: {link}: {why}"), link=link, why=one.why))
