"""What a stop of a kiln moves: its charges, its openings, and the jobs whose place falls."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.utils.text import capfirst
from django.utils.translation import gettext as _

from maintenance.models import Placement, WorkOrder
from maintenance.plans.places_now import failing_places
from maintenance.plans.programme import KilnProgramme, load_programme
from plant.charges.calculations.openings import Opening
from plant.charges.programme import say_at
from plant.kilns.lasting_words import lasting_words
from plant.models import Charge, Downtime, Kiln

#: So far ahead is looked, and so many charges and openings are shown. Our own choice.
AHEAD = timedelta(days=28)
SHOWN = 6
LEAST = timedelta(minutes=1)


@dataclass(frozen=True, slots=True)
class Moved:
    """A charge or an opening as it would be without the stop, and as it is; None where it is not there."""

    name: str
    before: tuple[datetime, datetime | None] | None
    after: tuple[datetime, datetime | None] | None


@dataclass(frozen=True, slots=True)
class Fallen:
    """A job whose place no longer holds, and why."""

    job: Placement
    why: str


def gather(record: Downtime, kiln: Kiln, now: datetime) -> dict[str, Any]:
    """Return what the page shows; a fixed number of queries."""
    programme = load_programme([kiln], now, now + AHEAD, now)[kiln.pk]
    without = load_programme([kiln], now, now + AHEAD, now, without=record.pk)[kiln.pk]
    until = programme.lasting.get(record.pk)
    charges = list(_charges(without, programme))
    return {
        "kiln": kiln,
        "record": record,
        "said": _say(record),
        "until": lasting_words(record, until) if until else "",
        "charges": charges[:SHOWN],
        "as_before": None if charges or record.end_at else _inside(programme, now),
        "openings": list(_openings(without, programme))[:SHOWN],
        "fallen": _fallen(kiln, now),
    }


def _say(record: Downtime) -> str:
    start, end = (say_at(at) if at else "" for at in (record.start_at, record.end_at))
    facts = {"kind": record.get_kind_display(), "start": start, "end": end}
    words = _("%(kind)s, %(start)s – %(end)s") if end else _("%(kind)s, since %(start)s")
    return capfirst(words % facts) + (f": {record.cause}." if record.cause else ".")


def _charges(without: KilnProgramme, programme: KilnProgramme) -> Iterator[Moved]:
    spans = {cast.charge.charge_id: (cast.start_at, cast.end_at) for cast in programme.forecasts}
    for cast in without.forecasts:
        before, after = (cast.start_at, cast.end_at), spans.get(cast.charge.charge_id)
        if after is None or _differ(before, after):
            yield Moved(without.charges[cast.charge.charge_id].number, before, after)


def _inside(programme: KilnProgramme, now: datetime) -> tuple[Charge, datetime | None] | None:
    """Return the charge that stands in the kiln with when it is expected out; None where none does."""
    casts = (one for one in programme.forecasts if one.charge.is_begun and one.start_at <= now)
    cast = max(casts, key=lambda one: one.start_at, default=None)
    return (programme.charges[cast.charge.charge_id], cast.end_at) if cast and cast.end_at else None


def _openings(without: KilnProgramme, programme: KilnProgramme) -> Iterator[Moved]:
    spans = {one.before_charge_id: (one.start_at, one.end_at) for one in programme.windows.openings}
    for one in without.windows.openings:
        before, after = (one.start_at, one.end_at), spans.get(one.before_charge_id)
        if after is None or _differ(before, after):
            yield Moved(_before(without, one), before, after)


def _before(programme: KilnProgramme, one: Opening) -> str:
    charge: Charge | None = programme.charges.get(one.before_charge_id or 0)
    return charge.number if charge else ""


def _differ(one: tuple[datetime, datetime | None], other: tuple[datetime, datetime | None]) -> bool:
    return any(
        (a is None) != (b is None) or (a is not None and b is not None and abs(a - b) >= LEAST)
        for a, b in zip(one, other, strict=True)
    )


def _fallen(kiln: Kiln, now: datetime) -> list[Fallen]:
    failing = failing_places(now)
    placed = Placement.objects.filter(work_order__in=WorkOrder.objects.unfinished(), work_order__kiln=kiln)
    jobs = placed.select_related("work_order").order_by("start_at")
    return [Fallen(job, why) for job in jobs if (why := failing.of(job.work_order.number))]
