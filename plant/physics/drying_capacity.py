"""How much water a charge gives off, how long that takes, and what a kiln dries in a day.

The published approximation gives the shape: how time depends on thickness, temperature and moisture contents. Its level
is that of one species in one kind of kiln; the level of this kiln and species comes from its own charges, with the
spread that they show.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log, sqrt
from statistics import fmean, stdev

import numpy as np
from numpy.typing import ArrayLike

from plant.physics.arrays import Numbers, within
from plant.physics.saturation import saturation_pressure_pa

MM_PER_INCH = 25.4
PA_PER_MMHG = 133.322
FIBRE_SATURATION_PCT = 28.0
"""Middle of the published 25 to 30 % (Oregon State University EM 8612: about 30 %)."""

LEAST_CHARGES = 3
"""With fewer charges no spread is given. Ours."""
EIGHT_IN_TEN = 1.2816
"""Standard normal deviate that leaves a tenth on either side."""


def time_constant_h(thickness_mm: ArrayLike, temp_c: ArrayLike) -> Numbers:
    """Compute the drying time constant [tau] of the published model, in hours.

    Parameters
    ----------
    thickness_mm : array_like
        Board thickness in mm, 10 to 150.
    temp_c : array_like
        Kiln temperature in °C, 20 to 100.

    Returns
    -------
    ndarray
        Hours in which the moisture above the equilibrium falls to 1/e, red oak.

    Raises
    ------
    ValueError
        If a value is outside its range.

    Notes
    -----
    tau = L^1.52 / (0.0575 + 0.00142 p) days, L in inches, p the saturation pressure in mmHg: red oak, quoted second
    hand from an encyclopaedia article that rests on Simpson and Tschernitz (1979). 3/32 in on 1 in gives +14.6 %, in
    the published +10 to +15 %; for thick stock the published growth is smaller (about 6 %) than the power law's.

    Examples
    --------
    >>> round(float(time_constant_h(25.4, 60)) / 24, 3)
    3.705
    """
    inches = within("thickness", thickness_mm, 10, 150, "mm") / MM_PER_INCH
    return np.asarray(24 * inches**1.52 / _rate(temp_c))


def _rate(temp_c: ArrayLike) -> Numbers:
    pressure = saturation_pressure_pa(within("temperature", temp_c, 20, 100, "°C")) / PA_PER_MMHG
    return np.asarray(0.0575 + 0.00142 * pressure)


def rate_ratio_at(temp_c: ArrayLike, usual_temp_c: ArrayLike) -> Numbers:
    """Compute how fast timber dries at one temperature over another, all else equal: the published model's p term.

    Raises
    ------
    ValueError
        If a temperature is outside 20 to 100 °C.
    """
    return np.asarray(_rate(temp_c) / _rate(usual_temp_c))


@dataclass(frozen=True, slots=True)
class Drying:
    """What is to be dried and in what climate.

    ``emc_pct`` is the equilibrium moisture content of the chamber towards which the timber dries.

    Raises
    ------
    ValueError
        If a value is outside its range, or the order emc < end < start does not hold.
    """

    thickness_mm: float
    temp_c: float
    start_mc_pct: float
    end_mc_pct: float
    emc_pct: float

    def __post_init__(self) -> None:
        within("moisture content at the start", self.start_mc_pct, 0, 250, "%")
        within("EMC", self.emc_pct, 0, 40, "%")
        if not self.emc_pct < self.end_mc_pct < self.start_mc_pct:
            raise ValueError(
                f"wanted moisture content {self.end_mc_pct:g} % is outside EMC {self.emc_pct:g} to start "
                f"{self.start_mc_pct:g} %: timber never dries past the chamber's EMC"
            )

    @property
    def model_h(self) -> float:
        """Hours by the published model: M(t) = Me + (M0 - Me) exp(-t/tau), solved for t."""
        fall = log((self.start_mc_pct - self.emc_pct) / (self.end_mc_pct - self.emc_pct))
        return float(time_constant_h(self.thickness_mm, self.temp_c)) * fall


def share_above_fibre_saturation(
    start_mc_pct: float, end_mc_pct: float, emc_pct: float, fibre_saturation_pct: float = FIBRE_SATURATION_PCT
) -> float:
    """Compute the share of the drying time in which timber is above fibre saturation: where air speed counts.

    Parameters
    ----------
    start_mc_pct, end_mc_pct : float
        Moisture contents at the begin and the end in %, start above end.
    emc_pct : float
        EMC of the chamber in %, below the end.
    fibre_saturation_pct : float
        In %, 20 to 40.

    Returns
    -------
    float
        Fraction 0 to 1.

    Raises
    ------
    ValueError
        If a value is outside its range or the order emc < end < start does not hold.

    Notes
    -----
    Of the published exponential course; thickness and temperature cancel out. That air speed counts at about 60 %
    moisture and hardly at 20 % is published (Lamb 2002); below fibre saturation fans may slow down.
    """
    within("fibre saturation", fibre_saturation_pct, 20, 40, "%")
    Drying(25.0, 60.0, start_mc_pct, end_mc_pct, emc_pct)
    if start_mc_pct <= fibre_saturation_pct:
        return 0.0
    whole = log((start_mc_pct - emc_pct) / (end_mc_pct - emc_pct))
    above = log((start_mc_pct - emc_pct) / (max(fibre_saturation_pct, end_mc_pct) - emc_pct))
    return above / whole


@dataclass(frozen=True, slots=True)
class Level:
    """How this kiln's times for a species lie over the published model's.

    ``factor`` multiplies the model's hours; ``log_spread`` is the standard deviation of ln(actual/model) over
    ``charges`` charges, None where they are fewer than three.
    """

    factor: float
    log_spread: float | None
    charges: int


UNCALIBRATED = Level(1.0, None, 0)


def calibrate(history: Sequence[tuple[Drying, float]]) -> Level:
    """Find a kiln's level for a species from its own completed charges.

    Parameters
    ----------
    history : Sequence[tuple[Drying, float]]
        Charge and the hours that its drying took, above 0.

    Returns
    -------
    Level
        Geometric mean of actual over model, and its spread; the model itself where there is no charge.

    Raises
    ------
    ValueError
        If an actual time is not above 0.
    """
    for _drying, actual_h in history:
        within("drying time", actual_h, 0.01, 10_000, "h")
    ratios = [log(actual_h / drying.model_h) for drying, actual_h in history]
    if not ratios:
        return UNCALIBRATED
    spread = stdev(ratios) if len(ratios) >= LEAST_CHARGES else None
    return Level(exp(fmean(ratios)), spread, len(ratios))


@dataclass(frozen=True, slots=True)
class DryingTime:
    """Hours a charge will take; ``low_h`` to ``high_h`` holds eight of ten charges, None without enough history."""

    likely_h: float
    low_h: float | None
    high_h: float | None


def drying_time(drying: Drying, level: Level = UNCALIBRATED) -> DryingTime:
    """Estimate how long a charge will take.

    Notes
    -----
    Model hours x level. The span is that of one new charge: spread x sqrt(1 + 1/n), normal in the logarithm; with few
    charges it is somewhat too narrow (a t quantile would be wider).
    """
    likely = drying.model_h * level.factor
    if level.log_spread is None:
        return DryingTime(likely, None, None)
    width = exp(EIGHT_IN_TEN * level.log_spread * sqrt(1 + 1 / level.charges))
    return DryingTime(likely, likely / width, likely * width)


def capacity_m3_per_day(volume_m3: float, drying_h: float, other_h: float) -> float:
    """Compute what a kiln dries in a day: its load over drying and all the hours around it (loading, heating up, ...).

    Raises
    ------
    ValueError
        If the volume is outside 0 to 10 000 m3, or a time outside 0 to 10 000 h, the drying time being above 0.
    """
    within("drying time", drying_h, 0.01, 10_000, "h")
    within("other hours of a charge", other_h, 0, 10_000, "h")
    return float(within("volume", volume_m3, 0, 10_000, "m3")) * 24 / (drying_h + other_h)
