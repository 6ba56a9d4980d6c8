"""What stands against making a kiln run: asked below, answered by the storeys above through a registry.

An *act* that would let a kiln run asks ``refuse_running`` and is refused while a bar stands. A *report* of what is so
already (readings, a charge that has begun) is kept, whatever stands against it, and told by ``plant.signals``.
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from plant import clock
from plant.models import Kiln

# Whoever is inside must be out before a charge begins: what begins sooner than this is refused meanwhile.
SOON = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class RunningBar:
    """Why a kiln must not run: who is inside by name, since when, and what to do about it.

    ``work`` names sittings and jobs that go on in the chamber or in front of its machinery; ``permit_since_at`` is None
    where such work goes on without the chamber being open for entry (from outside). ``url`` leads to where it ends.
    ``until_at`` is when everybody is to be out by the permit.
    """

    people: tuple[str, ...]
    since_at: datetime | None
    permit_since_at: datetime | None
    outside: str
    remedy: str
    work: tuple[str, ...] = ()
    url: str = ""
    until_at: datetime | None = None


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


def refuse_beginning(kiln: Kiln, begin_at: datetime, heating_at: datetime) -> None:
    """Refuse a begin that is near, or a heating up before everybody is to be out; the kiln must be locked.

    Whoever plans a charge, or tells when it is expected, asks this: inside they rely on the times that they were told.
    """
    bar = running_bars([kiln]).get(kiln.pk)
    if bar is None:
        return
    if begin_at <= clock.now() + SOON:
        raise ValidationError(say_bar(kiln, bar), code="inside")
    if bar.until_at is not None and heating_at < bar.until_at:
        facts = {"until": _say_at(bar.until_at), "heating": _say_at(heating_at)}
        said = _(
            "It would be heated up on %(heating)s, but people may be inside until %(until)s by the permit: "
            "give a later time."
        )
        raise ValidationError(f"{say_bar(kiln, bar)} {said % facts}", code="inside")


def _say_at(at: datetime) -> str:
    return date_format(timezone.localtime(at), "D j M H:i")


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
