"""Reading what chambers said: spans of readings as they came, and frames that watches and figures look at."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from django.db import connection
from numpy.typing import NDArray

from plant.basics.periods import from_epoch_s, to_epoch_s
from plant.charges.calculations.charge_phases import RUNNING_PHASES
from plant.models import Channel, Charge, Kiln, Phase, Reading
from plant.readings.calculations.climate_frame import PHASE_CODES, Frame, Values, hold_last
from plant.readings.calculations.reading_marks import TOLD_ON_CHANGE, gap_s

HELD_ON_CHANGE_S = 24 * 3600
"""So long what a controller tells only when it changes counts as still so. Our own choice."""

_ROW = np.dtype([("channel_id", np.int64), ("at_s", np.int64), ("value", np.float64), ("marks", np.int16)])

PhaseSpan = tuple[int, int, str]
"""(begin s, end s, kind): the end is not part of it."""


@dataclass(frozen=True, slots=True)
class Series:
    """Readings of one channel, oldest first, each array of shape (n,): seconds since 1970, values, marks as bits."""

    at_s: NDArray[np.int64]
    value: Values
    marks: NDArray[np.int16]

    @property
    def trusted(self) -> Values:
        """Return the values with NaN in place of those that have a mark."""
        return np.where(self.marks == 0, self.value, np.nan)


def load_span(
    kiln: Kiln, from_s: int, until_s: int, keys: Collection[str] | None = None, with_marked: bool = True
) -> dict[str, Series]:
    """Load a kiln's readings from ``from_s`` until before ``until_s``, by the channels' keys, marked ones included.

    A channel without readings in the span has empty arrays; keys the kiln does not have are absent. One query for the
    channels, one for all their readings.
    """
    channels = [one for one in Channel.objects.filter(kiln=kiln) if keys is None or one.key in keys]
    return load_channels(channels, from_s, until_s, with_marked=with_marked)


def load_channels(
    channels: Sequence[Channel], from_s: int, until_s: int, with_marked: bool = True
) -> dict[str, Series]:
    """Load the readings of channels of one kiln as ``load_span`` does; one query."""
    if not channels:
        return {}
    chosen = Reading.objects.filter(channel_id__in=[one.pk for one in channels], at_s__gte=from_s, at_s__lt=until_s)
    if not with_marked:
        chosen = chosen.filter(marks=0)
    # In the order of the primary key, so that nothing is sorted.
    found = chosen.order_by("channel_id", "at_s").values_list("channel_id", "at_s", "value", "marks")
    with connection.cursor() as cursor:
        # Past the ORM's own reading of rows, which takes longer than the database.
        cursor.execute(*found.query.sql_with_params())
        rows = np.array(cursor.fetchall(), _ROW)
    series = {}
    for channel in channels:
        of_channel = slice(*np.searchsorted(rows["channel_id"], [channel.pk, channel.pk + 1]))
        series[channel.key] = Series(*(rows[of_channel][name].copy() for name in ("at_s", "value", "marks")))
    return series


def load_frame(
    kiln: Kiln,
    from_s: int,
    until_s: int,
    step_s: int = 60,
    max_age_s: int | None = None,
    keys: Collection[str] | None = None,
) -> Frame:
    """Put a kiln's trustworthy readings and its phases on the moments from ``from_s`` until before ``until_s``.

    Without ``max_age_s`` a value holds until its channel has a gap, 24 hours where controllers tell only changes, and
    a message for one moment. With ``keys`` only those channels are loaded. Four queries.
    """
    if step_s < 1 or until_s < from_s:
        raise ValueError(f"no moments from {from_s} until {until_s} every {step_s} s: give a span and a step above 0")
    count = -(-(until_s - from_s) // step_s)
    channels = [one for one in Channel.objects.filter(kiln=kiln) if keys is None or one.key in keys]
    ages = {one: _age_s(one, step_s) if max_age_s is None else max_age_s for one in channels}
    values = {}
    for is_long in (False, True):
        some = [one for one, age_s in ages.items() if (age_s >= HELD_ON_CHANGE_S) is is_long]
        if not some:
            continue
        loaded = load_channels(some, from_s - max(ages[one] for one in some), until_s)
        for one in some:
            series = loaded[one.key]
            values[one.key] = hold_last(series.at_s, series.trusted, from_s, step_s, count, ages[one])
    moments = from_s + step_s * np.arange(count, dtype=np.int64)
    return Frame(
        from_s, step_s, values, phase_codes(phase_spans(kiln, from_s, until_s), moments), kiln.mill.pressure_pa
    )


def _age_s(channel: Channel, step_s: int) -> int:
    """Return how old a channel's last reading may be and still say what is."""
    if channel.quantity == Channel.Quantity.MESSAGE:
        return step_s - 1
    return HELD_ON_CHANGE_S if channel.quantity in TOLD_ON_CHANGE else gap_s(channel.every_s)


def phase_spans(kiln: Kiln, from_s: int, until_s: int) -> list[PhaseSpan]:
    """Return the phases of charges that were begun, as far as they reach into a span, oldest first; one query."""
    found = Phase.objects.filter(
        charge__kiln=kiln,
        charge__basis__in=[Charge.Basis.RUNNING, Charge.Basis.DONE],
        begin_at__lt=from_epoch_s(until_s),
        end_at__gt=from_epoch_s(from_s),
    )
    rows = found.order_by("begin_at", "end_at").values_list("begin_at", "end_at", "kind")
    return [(to_epoch_s(begin_at), to_epoch_s(end_at), kind) for begin_at, end_at, kind in rows]


def phase_codes(spans: Sequence[PhaseSpan], moments_s: NDArray[np.int64]) -> NDArray[np.int8]:
    """Return for each ascending moment the code of the phase it lies in, that of "between" outside all of them."""
    codes = np.full(len(moments_s), PHASE_CODES["between"], np.int8)
    for begin_s, end_s, kind in spans:
        first, end = np.searchsorted(moments_s, [begin_s, end_s])
        codes[first:end] = PHASE_CODES[kind]
    return codes


def running_spans(spans: Sequence[PhaseSpan]) -> list[tuple[int, int]]:
    """Join the phases in which doors are closed and fans turn to spans that lie apart, oldest first."""
    joined: list[tuple[int, int]] = []
    for begin_s, end_s, kind in spans:
        if kind not in RUNNING_PHASES or end_s <= begin_s:
            continue
        if joined and begin_s <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end_s))
        else:
            joined.append((begin_s, end_s))
    return joined
