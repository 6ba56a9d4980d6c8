"""Figures of charges: worked out from their readings when a phase ends, and again when readings come late."""

from collections import defaultdict
from collections.abc import Collection
from datetime import datetime
from statistics import median
from typing import Any

from django.db.models import Max, OuterRef, Q, Subquery

from plant.basics.periods import from_epoch_s, to_epoch_s
from plant.charges.calculations.charge_phases import RUNNING_PHASES
from plant.models import Channel, Charge, ChargeFigure, Kiln, Phase, Reading
from plant.readings.calculations.charge_figures import charge_figures
from plant.readings.calculations.climate_view import Usual
from plant.readings.spans import load_frame

# What is known once the heating up is over; everything else waits until the charge has run.
AFTER_HEATING_UP = frozenset({"heat_up_h", "heat_up_valve_h"})
USUAL_CHARGES = 20
# Enough for the last charges of a kiln with many fans.
MOST_FIGURES = 1000


def keep_figures(kiln: Kiln, from_s: int, until_s: int) -> list[Charge]:
    """Work out and store what readings of a span (both ends included) make known of charges; return those charges.

    That is so where the heating up or the last running phase ended since the reading before the span, and where
    readings came late to a phase that was over. A second call with the same readings changes nothing.
    """
    since_s, latest_s = _heard(kiln, from_s, until_s)
    kept = []
    for charge in _begun(kiln, since_s, until_s):
        if _is_between(charge.ran_at, since_s, latest_s):
            work_out(charge, latest_s)
        elif _is_between(charge.heated_at, since_s, latest_s):
            work_out(charge, latest_s, AFTER_HEATING_UP)
        else:
            continue
        kept.append(charge)
    return kept


def make_up(kiln: Kiln, from_s: int, until_s: int) -> list[Charge]:
    """Work out charges that ran in a span and have no figure: their dates were entered after their readings came."""
    kept = []
    for charge in _begun(kiln, from_s, until_s).filter(figures__isnull=True):
        if _is_between(charge.ran_at, from_s, until_s):
            work_out(charge, until_s)
            kept.append(charge)
    return kept


def work_out(charge: Charge, until_s: int, codes: Collection[str] | None = None) -> None:
    """Work out the figures of a charge (only some ``codes``), from readings up to ``until_s``, and store them."""
    begin_s, end_s = to_epoch_s(charge.begin_at), min(to_epoch_s(charge.end_at), until_s + 1)
    found = charge_figures(load_frame(charge.kiln, begin_s, max(end_s, begin_s)))
    values: dict[str, float | None] = {**dict.fromkeys(found.why_not), **found.values}
    rows = [
        ChargeFigure(charge=charge, code=code, value=value, why_not=found.why_not.get(code, ()))
        for code, value in values.items()
        if codes is None or code in codes
    ]
    ChargeFigure.objects.bulk_create(
        rows, update_conflicts=True, update_fields=["value", "why_not"], unique_fields=["charge", "code"]
    )


def usual_of(kiln: Kiln, before_s: int) -> Usual:
    """Return what was usual in the last charges that had run before an instant: the fans' currents, by direction."""
    figures = ChargeFigure.objects.filter(
        charge__kiln=kiln,
        charge__end_at__lte=from_epoch_s(before_s),
        code__startswith="fan_current_",
        value__isnull=False,
    )
    found: dict[str, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    for code, value in figures.order_by("-charge__end_at").values_list("code", "value")[:MOST_FIGURES]:
        stem, _colon, place = code.partition(":")
        if value is not None and len(found[place][stem]) < USUAL_CHARGES:
            found[place][stem].append(value)
    sides = ("fan_current_left", "fan_current_right")
    return Usual(
        {
            place: (median(by_side[sides[0]]), median(by_side[sides[1]]))
            for place, by_side in found.items()
            if all(by_side[side] for side in sides)
        }
    )


def last_readings_s(kiln: Kiln, before_s: int | None = None) -> dict[str, int]:
    """Return for each channel in use when it was heard last (before an instant); one query, whatever was kept."""
    readings = Reading.objects.filter(channel_id=OuterRef("pk")).order_by("-at_s")
    if before_s is not None:
        readings = readings.filter(at_s__lt=before_s)
    channels = Channel.objects.filter(kiln=kiln, is_active=True)
    heard = channels.annotate(last_s=Subquery(readings.values("at_s")[:1]))
    return {channel.key: channel.last_s for channel in heard if channel.last_s is not None}


def _heard(kiln: Kiln, from_s: int, until_s: int) -> tuple[int, int]:
    """Return when the kiln was heard last before a span, and when it was heard last at all."""
    before_s = max(last_readings_s(kiln, from_s).values(), default=from_s - 1)
    return before_s, max([until_s, *last_readings_s(kiln).values()])


def _begun(kiln: Kiln, from_s: int, until_s: int) -> Any:
    """Return charges that share time with a span, with the ends of their heating up and of their last running phase."""
    begun = Charge.objects.filter(kiln=kiln, basis__in=[Charge.Basis.RUNNING, Charge.Basis.DONE])
    touched = begun.reaching_into(from_epoch_s(from_s), from_epoch_s(until_s + 1)).select_related("kiln")
    heating, running = Q(phases__kind=Phase.Kind.HEATING_UP), Q(phases__kind__in=sorted(RUNNING_PHASES))
    ends = {
        "heated_at": Max("phases__end_at", filter=heating),
        "ran_at": Max("phases__end_at", filter=running),
    }
    return touched.annotate(**ends).order_by("begin_at")


def _is_between(at: datetime | None, after_s: int, until_s: int) -> bool:
    return at is not None and after_s < to_epoch_s(at) <= until_s


def figures_until(kiln: Kiln, code: str, from_s: int, until_s: int) -> list[tuple[int, float, str]]:
    """Return (when it had run, figure, number) of the charges that ran to their end in a span and have the figure."""
    running = Q(charge__phases__kind__in=sorted(RUNNING_PHASES))
    figures = ChargeFigure.objects.filter(charge__kiln=kiln, code=code, value__isnull=False)
    ran = figures.annotate(ran_at=Max("charge__phases__end_at", filter=running)).filter(
        ran_at__gt=from_epoch_s(from_s), ran_at__lte=from_epoch_s(until_s)
    )
    rows = ran.order_by("ran_at").values_list("ran_at", "value", "charge__number")
    return [(to_epoch_s(ran_at), value, number) for ran_at, value, number in rows if value is not None]
