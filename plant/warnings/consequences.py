"""What no longer holds after a programme, or who is there, was changed: asked here, answered above by a registry."""

from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest
from django.utils.html import format_html, format_html_join
from django.utils.translation import ngettext

from plant.frame.requests import user_of
from plant.models import Kiln, User

FEW = 3
ALONE = '<a href="{url}">{what}</a>'
WITH_WHY = ALONE + " ({why})"


@dataclass(frozen=True, slots=True)
class NoLongerHolds:
    """Something that was arranged on a kiln and does not hold any more: what, why, and where it is mended."""

    what: str
    why: str
    url: str
    is_safety: bool = False


Source = Callable[[Collection[Kiln], User], Sequence[NoLongerHolds]]
# Source -> what makes it forget what it keeps in the process.
_sources: dict[Source, Callable[[], None]] = {}


class _UndoneError(Exception):
    """Takes back what was tried."""


def register(source: Source, forget: Callable[[], None]) -> None:
    """Let a storey above say what no longer holds, to who may see it; asked twice, it is asked once.

    ``forget`` drops what the source keeps in the process: it is called after a change that was only tried.
    """
    _sources[source] = forget


def would_be_lost(request: HttpRequest, change: Callable[[], object]) -> list[NoLongerHolds]:
    """Say what would no longer hold on any kiln in use by a change: safety work first. The change is tried and undone.

    Raises what the change raises.
    """
    kilns = Kiln.objects.in_use()
    before = _asked(request, kilns)
    found: list[NoLongerHolds] = []
    try:
        with transaction.atomic():
            change()
            found = _fresh(before, _asked(request, kilns))
            # Before anybody else writes: the next real change may bear the number of this one.
            for forget in _sources.values():
                forget()
            raise _UndoneError
    except _UndoneError:
        pass
    return sorted(found, key=lambda one: not one.is_safety)


def say_consequences(request: HttpRequest, kilns: Collection[Kiln]) -> None:
    """Say on the answer page what on these kilns no longer holds: a few with why, many by their names alone."""
    say_lost(request, _asked(request, kilns))


@contextmanager
def what_is_lost_said(request: HttpRequest) -> Iterator[None]:
    """Say what no longer holds on any kiln in use after the act within; what did not hold before is left out."""
    if request.method != "POST":
        yield
        return
    kilns = Kiln.objects.in_use()
    before = _asked(request, kilns)
    yield
    say_lost(request, _fresh(before, _asked(request, kilns)))


def _fresh(before: Sequence[NoLongerHolds], after: Sequence[NoLongerHolds]) -> list[NoLongerHolds]:
    known = {one.url for one in before}
    return [one for one in after if one.url not in known]


def _asked(request: HttpRequest, kilns: Collection[Kiln]) -> list[NoLongerHolds]:
    return [one for source in _sources for one in source(kilns, user_of(request))]


def say_lost(request: HttpRequest, found: Sequence[NoLongerHolds]) -> None:
    """Say on the answer page which jobs lost their place: a few with why where that is known, many by their names."""
    if not found:
        return
    is_few = len(found) <= FEW
    words = (
        format_html(WITH_WHY if is_few and one.why else ALONE, url=one.url, what=one.what, why=one.why) for one in found
    )
    said = ngettext("%(count)d job lost its place: {jobs}.", "%(count)d jobs lost their place: {jobs}.", len(found)) % {
        "count": len(found)
    }
    messages.warning(request, format_html(said, jobs=format_html_join("; ", "{}", ((one,) for one in words))))
