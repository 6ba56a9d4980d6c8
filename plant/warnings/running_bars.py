"""What stands against making a kiln run: asked below, answered by the storeys above through a registry.

An *act* that would let a kiln run asks ``refuse_running`` and is refused while a bar stands. A *report* of what is so
already (readings, a charge that has begun) is kept, whatever stands against it, and told by ``plant.signals``.
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from plant.models import Kiln


@dataclass(frozen=True, slots=True)
class RunningBar:
    """Why a kiln must not run: who is inside by name, since when, and what to do about it.

    ``work`` names sittings and jobs that go on in the chamber or in front of its machinery; ``permit_since_at`` is None
    where such work goes on without the chamber being open for entry (from outside). ``url`` leads to where it ends.
    """

    people: tuple[str, ...]
    since_at: datetime | None
    permit_since_at: datetime | None
    outside: str
    remedy: str
    work: tuple[str, ...] = ()
    url: str = ""


Source = Callable[[Collection[Kiln]], Mapping[int, RunningBar]]
_sources: list[Source] = []


def register(source: Source) -> None:
    """Let a storey above say which kilns must not run; asked twice, it is asked once."""
    if source not in _sources:
        _sources.append(source)


def running_bars(kilns: Collection[Kiln]) -> dict[int, RunningBar]:
    """Return kiln id -> what stands against its running; kilns that may run are not in it."""
    bars: dict[int, RunningBar] = {}
    for source in _sources:
        for pk, bar in source(kilns).items():
            bars.setdefault(pk, bar)
    return bars


def lock_kiln(pk: int) -> Kiln:
    """Return a kiln, locked until the transaction ends: entry and running take turns, so that nobody slips between.

    The lock lets rows that point at the kiln be written meanwhile, so that work on other things of it never waits.
    """
    return Kiln.objects.select_for_update(of=("self",), no_key=True).select_related("mill").get(pk=pk)


def refuse_running(kiln: Kiln) -> None:
    """Refuse what would let a kiln run while somebody is inside or it is open for entry; the kiln must be locked."""
    bar = running_bars([kiln]).get(kiln.pk)
    if bar is not None:
        raise ValidationError(say_bar(kiln, bar), code="inside")


def say_bar(kiln: Kiln, bar: RunningBar) -> str:
    """Say who is inside and what to do."""
    facts = {"kiln": kiln.tag, "names": ", ".join(bar.people), "outside": bar.outside, "work": ", ".join(bar.work)}
    said = []
    if bar.people:
        said.append(_("Inside %(kiln)s: %(names)s.") % facts)
    elif bar.permit_since_at is not None:
        said.append(_("%(kiln)s is open for entry.") % facts)
    if bar.work:
        said.append(_("At work there: %(work)s.") % facts)
    if bar.outside:
        said.append(_("%(outside)s stays outside.") % facts)
    return " ".join([*said, bar.remedy])
