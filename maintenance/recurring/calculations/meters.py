"""Running hours and charges: what was used since the last work, and the day on which a limit will be reached.

Readings belong to a day; they are taken as read at noon, so that a prediction rounds to the nearest day. After an
exchange of the meter its readings begin anew: use is summed over the segments between exchanges, and a reading
lower than the one before never becomes negative use.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from functools import cached_property
from typing import Final

from plant.basics.sentences import Sentence, Sentences

# The mean rate is taken over at least this long before the last reading where readings reach back so far: several
# charges, but not last season's. Our own choice.
RATE_DAYS: Final = 60
# A limit farther away than this is not predicted.
LARGEST_PREDICTION_DAYS: Final = 36525


class Limit(StrEnum):
    """What a recurring task is counted by."""

    CALENDAR = "calendar"
    RUNNING_HOURS = "running_hours"
    CHARGES = "charges"

    def say(self, amount: float) -> Sentence:
        """Say an amount of this meter with its noun, to a tenth."""
        rounded = round(amount, 1)
        if self is Limit.RUNNING_HOURS:
            return Sentence.of("recur.hours", amount_h=rounded)
        if rounded == int(rounded):
            return Sentence.of("recur.charges", count=int(rounded))
        return Sentence.of("recur.charges_and_parts", amount=rounded)


@dataclass(frozen=True)
class Reading:
    """A meter read on a day.

    `value` is in hours or charges; `starts_new_meter` marks the first reading after an exchange.
    """

    read_on: date
    value: float
    starts_new_meter: bool = False

    def __post_init__(self) -> None:
        if not math.isfinite(self.value) or self.value < 0:
            raise ValueError(
                f"the meter reading {self.value} of {self.read_on.isoformat()} is no number from 0 up: "
                "correct the reading"
            )


@dataclass(frozen=True)
class Charge:
    """One charge of a kiln, past or planned: its first and last local day and its running hours."""

    starts_on: date
    ends_on: date
    running_hours: float
    name: str = ""

    def __post_init__(self) -> None:
        if self.ends_on < self.starts_on:
            raise ValueError(
                f"charge {self.name or '(no name)'} ends on {self.ends_on.isoformat()}, before it starts on "
                f"{self.starts_on.isoformat()}: exchange or correct the two dates"
            )
        if not math.isfinite(self.running_hours) or self.running_hours < 0:
            raise ValueError(
                f"charge {self.name or '(no name)'} has {self.running_hours} running hours: give 0 or more"
            )

    @property
    def days(self) -> int:
        """Number of days the charge touches."""
        return (self.ends_on - self.starts_on).days + 1


@dataclass(frozen=True)
class MeterRule:
    """Every so many running hours or charges, with a window in the same unit.

    Parameters
    ----------
    limit : Limit
        RUNNING_HOURS or CHARGES.
    every : float
        interval in hours or charges, above 0.
    before, after : float
        how much before or after the due reading the work still counts as done on the due reading, in hours or
        charges, 0 or more; `before` smaller than `every`.
    """

    limit: Limit
    every: float
    before: float = 0.0
    after: float = 0.0

    def __post_init__(self) -> None:
        if self.limit is Limit.CALENDAR:
            raise ValueError("a meter rule counts running hours or charges: use a calendar rule for dates")
        if not (math.isfinite(self.every) and self.every > 0):
            raise ValueError(
                f"every {self.every} {self.limit.value} is not above 0: give the interval between two works"
            )
        if not 0 <= self.before < self.every or not 0 <= self.after < math.inf:
            raise ValueError(
                f"the window of {self.before} before and {self.after} after does not fit the interval of {self.every}: "
                "both must be 0 or more, and the one before shorter than the interval"
            )

    def describe(self) -> Sentence:
        """Say the rule in plain words."""
        if self.limit is Limit.CHARGES and self.every == 1:
            return Sentence.of("recur.every_charge")
        amount = self.limit.say(self.every)
        return Sentence.of("recur.every_so_many" if self.limit is Limit.CHARGES else "recur.every_hours", amount=amount)


@dataclass(frozen=True)
class MeterHistory:
    """The readings of one meter of one kiln, and the charges planned for it.

    Readings may stand in any order of days; on one day they stand as they were taken.
    """

    limit: Limit
    readings: tuple[Reading, ...] = ()
    programme: tuple[Charge, ...] = ()

    @cached_property
    def ordered(self) -> tuple[Reading, ...]:
        """The readings by day."""
        return tuple(sorted(self.readings, key=lambda reading: reading.read_on))

    def since(self, base: Reading | None) -> "MeterUse":
        """Sum the use from a base reading (that of the last work) on; from the first reading if there is none."""
        return _sum_use(self.limit, self.ordered if base is None else _after_base(self.ordered, base))

    def forecast(self, use: "MeterUse") -> "Forecast":
        """Make a forecast from the use so far, the charge programme and the mean rate."""
        return _make_forecast(self, use)


@dataclass(frozen=True)
class MeterUse:
    """Cumulated use since a base.

    `points` holds (day, use since the base in hours or charges), never falling; `segments` the use of each meter
    in turn; `notes` says what was doubtful about the readings.
    """

    limit: Limit
    points: tuple[tuple[date, float], ...]
    segments: tuple[float, ...] = ()
    last_reading: Reading | None = None
    notes: Sentences = ()

    @property
    def used(self) -> float:
        """Use since the base up to the last reading, in hours or charges."""
        return self.points[-1][1] if self.points else 0.0

    def reached_on(self, amount: float) -> date | None:
        """Give the day on which the readings reached an amount, interpolated; None if they have not."""
        for (from_on, before), (to_on, after) in zip(self.points, self.points[1:], strict=False):
            if before < amount <= after:
                return from_on + timedelta(
                    days=_round_half_up((to_on - from_on).days * (amount - before) / (after - before))
                )
        return self.points[0][0] if self.points and amount <= 0 else None


@dataclass(frozen=True)
class Forecast:
    """Where a meter will stand: the use so far, the charge programme, then a mean rate.

    `steps` holds (day, use since the base) for the programme's days after the last reading; `daily_rate` is in
    hours or charges a day; `basis` says what the forecast is derived from.
    """

    use: MeterUse
    steps: tuple[tuple[date, float], ...]
    daily_rate: float | None
    basis: Sentence | None
    rate_basis: Sentence | None = None

    def reached_on(self, amount: float) -> date | None:
        """Give the day on which use since the base reaches an amount; None if it will not, or none can be told."""
        past = self.use.reached_on(amount)
        if past is not None or not self.use.points:
            return past
        for on, total in self.steps:
            if total >= amount - 1e-9:
                return on
        last_on, total = self.steps[-1] if self.steps else self.use.points[-1]
        if not self.daily_rate:
            return None
        days = (amount - total) / self.daily_rate
        if days > min(LARGEST_PREDICTION_DAYS, (date.max - last_on).days - 1):
            return None
        return last_on + timedelta(days=_round_half_up(days))

    def amount_on(self, on: date) -> float:
        """Give the predicted use since the base at the end of a day, in hours or charges."""
        known = [*self.use.points, *self.steps]
        earlier = [point for point in known if point[0] <= on]
        if not earlier:
            return 0.0
        last_on, total = earlier[-1]
        if last_on == known[-1][0]:
            total += (self.daily_rate or 0.0) * (on - last_on).days
        return total

    def says_why(self, amount: float) -> Sentence | None:
        """Say what a prediction for the amount rests on."""
        by_programme = bool(self.steps) and self.steps[-1][1] >= amount - 1e-9
        rate_basis = None if by_programme else self.rate_basis
        if self.basis and rate_basis:
            return Sentence.of("recur.first_then", first=self.basis, then=rate_basis)
        return self.basis or rate_basis


def readings_from_charges(charges: Iterable[Charge], limit: Limit) -> tuple[Reading, ...]:
    """Make meter readings from past charges, for a kiln without a meter.

    Parameters
    ----------
    charges : Iterable[Charge]
        past charges of one kiln, in any order.
    limit : Limit
        RUNNING_HOURS sums their running hours, CHARGES counts them.

    Returns
    -------
    tuple[Reading, ...]
        a reading of 0 at the first charge's start, then one at the end of each charge.
    """
    ordered = sorted(charges, key=lambda charge: (charge.ends_on, charge.starts_on))
    if not ordered:
        return ()
    total = 0.0
    readings = [Reading(min(charge.starts_on for charge in ordered), 0.0)]
    for charge in ordered:
        total += charge.running_hours if limit is Limit.RUNNING_HOURS else 1
        readings.append(Reading(charge.ends_on, total))
    return tuple(readings)


def _after_base(ordered: Sequence[Reading], base: Reading) -> list[Reading]:
    """Keep the readings that follow the base, put the base in front."""
    earlier = [reading for reading in ordered if reading.read_on < base.read_on]
    same_day = [reading for reading in ordered if reading.read_on == base.read_on]
    later = [reading for reading in ordered if reading.read_on > base.read_on]
    exchange = next((index for index, reading in enumerate(same_day) if reading.starts_new_meter), None)
    after_exchange: list[Reading] = []
    if exchange is not None:
        old = [*earlier, *same_day[:exchange]]
        # On the day of an exchange the base belongs to the meter whose reading is nearer.
        if old and abs(base.value - old[-1].value) > abs(base.value - same_day[exchange].value):
            same_day = same_day[exchange + 1 :]
        else:
            same_day, after_exchange = same_day[:exchange], same_day[exchange:]
    return [base, *(reading for reading in same_day if reading.value >= base.value), *after_exchange, *later]


def _sum_use(limit: Limit, readings: Sequence[Reading]) -> MeterUse:
    """Sum the use over segments; see `MeterHistory.since`."""
    points: list[tuple[date, float]] = []
    segments, notes, total = [0.0], [], 0.0
    for before, reading in zip([None, *readings], readings, strict=False):
        step = 0.0
        if before is not None:
            step = reading.value - before.value
            if reading.starts_new_meter:
                step = 0.0
                segments.append(0.0)
            elif step < 0:
                step = reading.value
                segments.append(0.0)
                notes.append(
                    Sentence.of(
                        "recur.lower_reading",
                        read_on=reading.read_on,
                        reading=limit.say(reading.value),
                        before=limit.say(before.value),
                    )
                )
        total += step
        segments[-1] += step
        points.append((reading.read_on, total))
    return MeterUse(limit, tuple(points), tuple(segments), readings[-1] if readings else None, tuple(notes))


def _make_forecast(history: MeterHistory, use: MeterUse) -> Forecast:
    """Join use, programme and mean rate."""
    if not use.points:
        return Forecast(use, (), None, Sentence.of("recur.no_readings"))
    last_on, used = use.points[-1]
    steps = _programme_steps(history, last_on, used)
    planned = [charge for charge in history.programme if charge.ends_on > last_on]
    basis = _say_programme(planned, steps[-1][0]) if steps else None
    rate, rate_basis = _mean_rate(history, use, steps)
    return Forecast(use, steps, rate, basis, rate_basis)


def _say_programme(planned: Sequence[Charge], until_on: date) -> Sentence:
    names, count = [charge.name for charge in planned if charge.name], len(planned)
    if not names:
        return Sentence.of("recur.planned_charges", count=count, until_on=until_on)
    if len(names) == 1:
        return Sentence.of("recur.planned_charge_named", count=count, name=names[0], until_on=until_on)
    return Sentence.of("recur.planned_charges_named", count=count, first=names[0], last=names[-1], until_on=until_on)


def _programme_steps(history: MeterHistory, last_on: date, used: float) -> tuple[tuple[date, float], ...]:
    """Cumulate the programme day by day after the last reading.

    A charge's running hours are spread evenly over its days; a charge counts as one when it ends.
    """
    daily: dict[date, float] = {}
    for charge in history.programme:
        if history.limit is Limit.CHARGES:
            if charge.ends_on > last_on:
                daily[charge.ends_on] = daily.get(charge.ends_on, 0.0) + 1
            continue
        for offset in range(charge.days):
            on = charge.starts_on + timedelta(days=offset)
            if on > last_on:
                daily[on] = daily.get(on, 0.0) + charge.running_hours / charge.days
    steps, total = [], used
    for on in sorted(daily):
        total += daily[on]
        steps.append((on, total))
    return tuple(steps)


def _mean_rate(
    history: MeterHistory, use: MeterUse, steps: tuple[tuple[date, float], ...]
) -> tuple[float | None, Sentence]:
    """Give the mean rate a day and what it is derived from: recent readings, else the programme."""
    # All readings tell the rate, also those before the last work; only the sum must begin there.
    whole = _sum_use(history.limit, history.ordered)
    points = whole.points if len(whole.points) > 1 else use.points
    last_on, last_total = points[-1]
    old_enough = [point for point in points if (last_on - point[0]).days >= RATE_DAYS]
    first_on, first_total = old_enough[-1] if old_enough else points[0]
    if last_on > first_on:
        rate = (last_total - first_total) / (last_on - first_on).days
        said = say_rate(history.limit, rate)
        return rate, Sentence.of("recur.rate_of_readings", rate=said, first_on=first_on, last_on=last_on)
    if steps:
        days = max(1, (steps[-1][0] - use.points[-1][0]).days)
        rate = (steps[-1][1] - use.used) / days
        return rate, Sentence.of("recur.rate_of_programme", rate=say_rate(history.limit, rate))
    return None, Sentence.of("recur.no_rate")


def say_rate(limit: Limit, rate: float) -> Sentence:
    """Say a rate: 13.5 h a day; charges by the month, as they take days."""
    if limit is Limit.CHARGES:
        return Sentence.of("recur.charges_in_30_days", amount=round(rate * 30, 1))
    return Sentence.of("recur.amount_a_day", amount=limit.say(rate))


def _round_half_up(days: float) -> int:
    return math.floor(days + 0.5)
