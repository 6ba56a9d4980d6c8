"""The trend of a figure of charges, and the day on which it will cross a limit, with bounds.

A straight line by least squares over the last charges; which day it crosses is found by inverse prediction with
Fieller's bounds (Fieller, Journal of the Royal Statistical Society B 16 (1954); Draper and Smith, Applied Regression
Analysis, ch. 3: inverse regression; both from memory). A charge that lies far off the others does not turn the line: it
is first drawn in towards Theil's line (median of slopes), as Huber's estimator draws in what lies off.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from maintenance.watches.calculations.rule_kinds import within_bounds
from maintenance.watches.calculations.student_t import t_quantile

Numbers = NDArray[np.float64]

DRAWN_IN_AT: Final = 2.5
"""Residuals beyond so many standard deviations are drawn in to it. Ours, after what robust regression usually takes."""
MAD_TO_SD: Final = 1.4826
"""From the median of absolute residuals to the standard deviation of normal ones."""


@dataclass(frozen=True, slots=True)
class Trend:
    """Says on which day a figure will cross ``limit`` if it goes on as over the last ``charges`` charges.

    Silent with fewer than ``least_charges``, where the slope may be chance or leads away from the limit (``confidence``
    of the bounds, both sides together), or where the day lies further ahead than ``horizon_days``.
    """

    side: Literal["above", "below"]
    limit: float
    charges: int = 20
    least_charges: int = 10
    confidence: float = 0.95
    horizon_days: float = 90

    def __post_init__(self) -> None:
        within_bounds("limit", self.limit, -1e9, 1e9)
        within_bounds("least_charges", self.least_charges, 5, 1000)
        within_bounds("charges", self.charges, self.least_charges, 1000)
        within_bounds("confidence", self.confidence, 0.5, 0.9998)
        within_bounds("horizon_days", self.horizon_days, 0, 36500)


@dataclass(frozen=True, slots=True)
class Crossing:
    """When a figure's line will cross its limit.

    Attributes
    ----------
    day, earliest_day, latest_day : float
        On the scale of the days given; the bounds enclose the day on which the true line crosses with the rule's
        confidence.
    slope_per_day, slope_sd : float
        In the figure's unit for each day, and its standard error.
    now : float
        The line's value at the last charge.
    is_crossed : bool
        Whether the line is beyond the limit already.
    charges : int
        Over how many charges.
    """

    day: float
    earliest_day: float
    latest_day: float
    slope_per_day: float
    slope_sd: float
    now: float
    is_crossed: bool
    charges: int


@dataclass(frozen=True, slots=True)
class _Line:
    """A line by least squares: its value at the mean day, slope, and what their errors are made of."""

    mean_day: float
    mean: float
    slope: float
    residual_sd: float
    spread: float
    count: int

    @property
    def slope_sd(self) -> float:
        return self.residual_sd / math.sqrt(self.spread)

    def at(self, day: float) -> float:
        return self.mean + self.slope * (day - self.mean_day)


def crossing(rule: Trend, days: Sequence[float], values: Sequence[float]) -> Crossing | None:
    """Find the day on which a figure will cross the rule's limit.

    Parameters
    ----------
    rule : Trend
    days : Sequence[float]
        On which each charge ended, in days from any day on, ascending.
    values : Sequence[float]
        The figure of each; charges without it are left out by the caller.

    Returns
    -------
    Crossing or None
        None where the rule is silent.

    Raises
    ------
    ValueError
        If the lengths differ, a value is not finite or the days do not ascend.
    """
    at, figures = np.asarray(days, dtype=np.float64), np.asarray(values, dtype=np.float64)
    if at.shape != figures.shape or at.ndim != 1:
        raise ValueError(f"{at.size} days were given for {figures.size} figures")
    if not (np.isfinite(at).all() and np.isfinite(figures).all() and (np.diff(at) >= 0).all()):
        raise ValueError("days and figures must be numbers, and the days ascend")
    at, figures = at[-rule.charges :], figures[-rule.charges :]
    if len(at) < rule.least_charges or at[0] == at[-1]:
        return None
    drawn_in = _drawn_in(at, figures)
    line = _line(at, drawn_in, float((drawn_in == figures).mean()))
    quantile = t_quantile(0.5 + rule.confidence / 2, line.count - 2)
    sign = 1 if rule.side == "above" else -1
    if sign * line.slope <= quantile * line.slope_sd:
        return None
    found = _crossing(rule, line, quantile, float(at[-1]), sign)
    return found if found.day <= at[-1] + rule.horizon_days else None


def _drawn_in(days: Numbers, values: Numbers) -> Numbers:
    """Draw in what lies far off the median line; values that lie about it stay as they are."""
    first, second = _pairs(len(days))
    apart = days[second] - days[first]
    is_apart = apart > 0
    slopes = (values[second] - values[first])[is_apart] / apart[is_apart]
    fitted = _median(slopes) * days
    fitted = fitted + _median(values - fitted)
    residuals = values - fitted
    most = DRAWN_IN_AT * MAD_TO_SD * _median(np.abs(residuals))
    if most == 0:
        return values
    return np.where(np.abs(residuals) > most, fitted + np.copysign(most, residuals), values)


@lru_cache(maxsize=64)
def _pairs(count: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the first and the second of all pairs; a trial asks for the same number charge after charge."""
    return np.triu_indices(count, 1)


def _median(values: Numbers) -> float:
    """As `numpy.median`, which takes longer to begin than a handful of charges takes to sort."""
    ordered, middle = np.sort(values), len(values) // 2
    return float(ordered[middle] if len(values) % 2 else (ordered[middle - 1] + ordered[middle]) / 2)


def _line(days: Numbers, values: Numbers, share_as_read: float) -> _Line:
    """Fit the line; what was drawn in widens the spread again, as Huber's correction has it."""
    mean_day, mean = float(days.mean()), float(values.mean())
    spread = float(((days - mean_day) ** 2).sum())
    slope = float(((days - mean_day) * (values - mean)).sum()) / spread
    residuals = values - mean - slope * (days - mean_day)
    sd = math.sqrt(float((residuals**2).sum()) / (len(days) - 2)) / share_as_read
    return _Line(mean_day, mean, slope, sd, spread, len(days))


def _crossing(rule: Trend, line: _Line, quantile: float, last_day: float, sign: int) -> Crossing:
    """Solve for the day, and Fieller's quadratic for its bounds; the slope is known to be there, so both exist."""
    missing = rule.limit - line.mean
    day = line.mean_day + missing / line.slope
    # (missing - slope u)^2 = quantile^2 sd^2 (1/n + u^2/spread), u the days from the mean day.
    g = (quantile * line.slope_sd / line.slope) ** 2
    centre = missing / line.slope / (1 - g)
    inside = (1 - g) / line.count * line.spread * g + (missing / line.slope) ** 2 * g
    half = math.sqrt(max(inside, 0.0)) / (1 - g)
    now = line.at(last_day)
    return Crossing(
        day=day,
        earliest_day=line.mean_day + centre - half,
        latest_day=line.mean_day + centre + half,
        slope_per_day=line.slope,
        slope_sd=line.slope_sd,
        now=now,
        is_crossed=sign * now > sign * rule.limit,
        charges=line.count,
    )
