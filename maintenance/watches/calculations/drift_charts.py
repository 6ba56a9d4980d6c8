"""Control charts that hear a slow drift of a figure of charges: EWMA and tabular CUSUM.

They take figures of whole charges, never readings: readings a minute apart hang together, and a chart on them cries
wolf within hours.

What is usual comes from the kiln's own first charges after a reset. As long as these are few, their mean and spread are
poorly known; a value is therefore judged by Student's t with as many degrees of freedom as there are, and turned into
the standard normal value of the same probability. With few charges behind it the chart is slower, but does not cry wolf
more often. (Q-statistics: Quesenberry, Journal of Quality Technology 23 (1991), from memory.) A baseline that is closed
early has its price: by simulation, at decision 5 and over 54 charges, 9 % of charts give a false alarm with a baseline
that goes on or a known one, 14 % with one closed at 30 charges, 26 % at 12.

Published run lengths (independent normal figures, usual mean and spread known):

* tabular CUSUM, both sides, slack 0.5, decision 4: 168 charges to a false alarm, 8.38 to hear a shift of one standard
  deviation (Lucas and Crosier, Technometrics 24 (1982), Table 1); decision 5: 465 and 10.4 (Montgomery, Introduction to
  Statistical Quality Control; from memory).
* EWMA, both sides, weight 0.1, width 2.814: 500 and 10.3; weight 0.5, width 3.071: 500 and 17.5 (Lucas and Saccucci,
  Technometrics 32 (1990), Table 3; the first from memory).
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Final, Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from maintenance.watches.calculations.rule_kinds import within_bounds
from maintenance.watches.calculations.student_t import t_probability

Side = Literal["above", "below", "both"]
Numbers = TypeVar("Numbers", float, NDArray[np.float64])

LEAST_CHARGES: Final = 3
_NORMAL: Final = NormalDist()


@dataclass(frozen=True, slots=True)
class Drift:
    """A drift chart over one figure of a kiln's charges.

    ``baseline_charges`` of its own first charges tell what is usual; with fewer than ``least_charges`` the chart is
    silent. ``least_sd`` keeps a kiln that was quiet by chance from having too small a spread, ``least_shift`` is what
    must have shifted at least to be worth a word, both in the figure's unit. ``most_z`` is how many standard deviations
    one charge counts at most, so that no charge alone gives an alarm.

    CUSUM has ``slack`` and ``decision``, EWMA ``weight`` and ``width``, in standard deviations as published tables have
    them; EWMA's limits are those of the long run.
    """

    chart: Literal["ewma", "cusum"]
    side: Side = "both"
    baseline_charges: int = 30
    least_charges: int = 6
    slack: float = 0.5
    decision: float = 5.0
    weight: float = 0.2
    width: float = 2.962
    least_sd: float = 0.0
    least_shift: float = 0.0
    most_z: float = 4.0

    def __post_init__(self) -> None:
        within_bounds("least_charges", self.least_charges, LEAST_CHARGES, 1000)
        within_bounds("baseline_charges", self.baseline_charges, self.least_charges, 1000)
        within_bounds("slack", self.slack, 0, 10)
        within_bounds("decision", self.decision, 0.1, 100)
        within_bounds("weight", self.weight, 0.001, 1)
        within_bounds("width", self.width, 0.1, 100)
        within_bounds("least_sd", self.least_sd, 0, 1e9)
        within_bounds("least_shift", self.least_shift, 0, 1e9)
        within_bounds("most_z", self.most_z, 1, math.inf)

    @property
    def limit(self) -> float:
        """Return the limit of the chart's statistic, in standard deviations."""
        if self.chart == "cusum":
            return self.decision
        return self.width * math.sqrt(self.weight / (2 - self.weight))


@dataclass(frozen=True, slots=True)
class ChartPoint:
    """What the chart says after one charge.

    Attributes
    ----------
    up, down : float
        The statistic towards higher and towards lower values, in standard deviations, each 0 or more.
    is_drifting : bool
        Whether it is beyond the limit, or has been and is not yet back.
    began : bool
        Whether this charge is the one with which that began.
    shift : float
        By how much the figure has shifted from what was usual, in its unit; 0 while nothing is known.
    charges : int
        For how many charges in a row it has leaned that way.
    """

    up: float
    down: float
    is_drifting: bool
    began: bool
    shift: float
    charges: int


@dataclass(frozen=True, slots=True)
class _State:
    """What the chart carries on: the baseline by Welford's sums, both statistics, how long each has leaned."""

    count: int = 0
    mean: float = 0.0
    squares: float = 0.0
    up: float = 0.0
    down: float = 0.0
    up_charges: int = 0
    down_charges: int = 0
    is_drifting: bool = False
    is_known: bool = False

    def as_json(self) -> dict[str, float | int | bool]:
        return {name: getattr(self, name) for name in self.__slots__}


def restarted(state: Mapping[str, object]) -> dict[str, float | int | bool]:
    """Return the state after the cause was mended: what is usual stays, what was heard is forgotten."""
    was = _read(state)
    return _State(was.count, was.mean, was.squares, is_known=was.is_known).as_json()


def cusum_step(up: Numbers, down: Numbers, z: Numbers, slack: float) -> tuple[Numbers, Numbers]:
    """Carry both sums of a tabular CUSUM on by one value, all in standard deviations."""
    return np.maximum(0.0, up + z - slack), np.maximum(0.0, down - z - slack)


def ewma_step(average: Numbers, z: Numbers, weight: float) -> Numbers:
    """Carry an exponentially weighted average on by one value."""
    return weight * z + (1 - weight) * average


def follow(
    rule: Drift, values: Sequence[float], state: Mapping[str, object]
) -> tuple[tuple[ChartPoint, ...], dict[str, float | int | bool]]:
    """Carry a chart on over the figures of some charges.

    Parameters
    ----------
    rule : Drift
    values : Sequence[float]
        The figures that follow those which left ``state`` behind, one a charge, in order; any number of them.
    state : Mapping
        What the last call returned; empty at first; with ``is_known`` its mean and spread need no charges to learn.

    Returns
    -------
    points : tuple[ChartPoint, ...]
        One for each value.
    state : dict
        For the next call: a handful of numbers.

    Raises
    ------
    ValueError
        If a value is not finite: charges without the figure are left out by the caller.
    """
    now = _read(state)
    points: list[ChartPoint] = []
    for value in values:
        if not math.isfinite(value):
            raise ValueError(f"figure {value:g} is no number: leave out charges without the figure")
        now, point = _after(rule, now, float(value))
        points.append(point)
    return tuple(points), now.as_json()


def _read(state: Mapping[str, object]) -> _State:
    return _State(**dict(state)) if state else _State()  # type: ignore[arg-type]


def _after(rule: Drift, was: _State, value: float) -> tuple[_State, ChartPoint]:
    is_judged = was.is_known or was.count >= rule.least_charges
    z, sd = _standard(rule, was, value) if is_judged else (0.0, 0.0)
    up, down = _statistics(rule, was, z) if is_judged else (0.0, 0.0)
    up_charges = was.up_charges + 1 if up > 0 else 0
    down_charges = was.down_charges + 1 if down > 0 else 0
    leans_up = up >= down
    shift = _shift(rule, (up, up_charges) if leans_up else (down, down_charges), sd) * (1 if leans_up else -1)
    is_beyond = max(up, down) > rule.limit and abs(shift) >= rule.least_shift
    is_back = max(up, down) <= (0 if rule.chart == "cusum" else rule.limit / 2)
    is_drifting = is_beyond or (was.is_drifting and not is_back)
    count, mean, squares = was.count, was.mean, was.squares
    # What leans already is no longer taken for usual.
    if not was.is_known and count < rule.baseline_charges and not is_drifting:
        count += 1
        mean += (value - was.mean) / count
        squares += (value - was.mean) * (value - mean)
    now = _State(count, mean, squares, up, down, up_charges, down_charges, is_drifting, was.is_known)
    began = is_drifting and not was.is_drifting
    return now, ChartPoint(up, down, is_drifting, began, shift, up_charges if leans_up else down_charges)


def _standard(rule: Drift, was: _State, value: float) -> tuple[float, float]:
    """Return the value as a standard normal one, and the standard deviation used."""
    sd = max(math.sqrt(was.squares / (was.count - 1)), rule.least_sd)
    if sd == 0:
        return (0.0 if value == was.mean else math.copysign(rule.most_z, value - was.mean)), 0.0
    z = (value - was.mean) / sd
    if not was.is_known:
        probability = t_probability(z / math.sqrt(1 + 1 / was.count), was.count - 1)
        z = _NORMAL.inv_cdf(min(max(probability, 1e-12), 1 - 1e-12))
    return min(max(z, -rule.most_z), rule.most_z), sd


def _statistics(rule: Drift, was: _State, z: float) -> tuple[float, float]:
    if rule.chart == "cusum":
        up, down = cusum_step(was.up, was.down, z, rule.slack)
    else:
        average = ewma_step(was.up - was.down, z, rule.weight)
        up, down = max(average, 0.0), max(-average, 0.0)
    # Not more than twice the limit, so that a chart finds back after the cause has gone.
    most = 2 * rule.limit
    return (
        0.0 if rule.side == "below" else min(float(up), most),
        0.0 if rule.side == "above" else min(float(down), most),
    )


def _shift(rule: Drift, leaning: tuple[float, int], sd: float) -> float:
    statistic, charges = leaning
    if not charges:
        return 0.0
    return sd * (rule.slack + statistic / charges) if rule.chart == "cusum" else sd * statistic
