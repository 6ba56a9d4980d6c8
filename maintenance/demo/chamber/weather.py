"""The sky over a simulated chamber: outside temperature, humidity and gusts, by hour; of a northern inland mill."""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plant.physics.psychrometrics import humidity_ratio
from plant.physics.saturation import saturation_pressure_pa

Numbers = NDArray[np.float64]
HOUR_S: Final = 3600
DAY_S: Final = 86_400
YEAR_S: Final = 365.2425 * DAY_S
MEAN_C, SEASON_C, DAILY_C, FRONT_C = 7.0, 10.0, 4.0, 3.0
MEAN_HUMIDITY, DAILY_HUMIDITY, FRONT_HUMIDITY = 0.77, 0.14, 0.07
GUSTINESS: Final = 0.06
SKY_SEED: Final = 2026
COLDEST_DAY_S: Final = 20 * DAY_S
WARMEST_HOUR_S: Final = 14 * HOUR_S


class Weather:
    """Outside air over a span, one column for each chamber; chambers with the same seed share it.

    Season and day are sine curves; on them lie a passing of highs and lows (correlated over two days) and a gustiness
    of the leak (over an hour). Nights are moist.
    """

    def __init__(self, seeds: Sequence[int], begin_s: int, hours: int) -> None:
        self._begin_s = begin_s
        columns = {seed: _drawn(seed, begin_s, hours + 2) for seed in set(seeds)}
        self.temp_c = np.column_stack([columns[seed][0] for seed in seeds])
        self.humidity = np.column_stack([columns[seed][1] for seed in seeds])
        self.gust = np.column_stack([columns[seed][2] for seed in seeds])
        self.ratio = np.asarray(humidity_ratio(self.humidity * saturation_pressure_pa(self.temp_c)))
        self._all = np.stack([self.temp_c, self.ratio, self.humidity, self.gust], axis=1)

    def at(self, moment_s: float) -> tuple[Numbers, Numbers, Numbers, Numbers]:
        """Return temperature (°C), humidity ratio (kg/kg), relative humidity (fraction) and gust factor."""
        place = (moment_s - self._begin_s) / HOUR_S
        hour = int(place)
        share = place - hour
        temp, ratio, humidity, gust = (1 - share) * self._all[hour] + share * self._all[hour + 1]
        return temp, ratio, humidity, gust


class MovedSky(Weather):
    """One sky over all chambers, each looked at from a moment of its own: all of them begin at ``begin_s``."""

    def __init__(self, begin_s: int, true_begins_s: Sequence[int], hours: int) -> None:
        first_s = min(true_begins_s) // HOUR_S * HOUR_S
        super().__init__([SKY_SEED], first_s, (max(true_begins_s) - first_s) // HOUR_S + hours + 2)
        self._run_begins_s = begin_s
        self._offset_h = (np.array(true_begins_s, np.float64) - first_s) / HOUR_S

    def at(self, moment_s: float) -> tuple[Numbers, Numbers, Numbers, Numbers]:
        """Return what the air outside is, for each chamber at its own time."""
        place = (moment_s - self._run_begins_s) / HOUR_S + self._offset_h
        hour = place.astype(np.intp)
        share = place - hour
        temp, ratio, humidity, gust = (
            (1 - share) * column[hour, 0] + share * column[hour + 1, 0]
            for column in (self.temp_c, self.ratio, self.humidity, self.gust)
        )
        return temp, ratio, humidity, gust


def _drawn(seed: int, begin_s: int, hours: int) -> tuple[Numbers, Numbers, Numbers]:
    rng = np.random.default_rng([seed, 3])
    drawn = rng.standard_normal((hours, 3))
    moments_s = begin_s + HOUR_S * np.arange(hours)
    season = -np.cos(2 * np.pi * (moments_s - COLDEST_DAY_S) / YEAR_S)
    day = np.cos(2 * np.pi * (moments_s - WARMEST_HOUR_S) / DAY_S)
    front = autocorrelated(drawn[:, 0], 48.0)
    temp = MEAN_C + SEASON_C * season + DAILY_C * day + FRONT_C * front
    changing = FRONT_HUMIDITY * autocorrelated(drawn[:, 1], 12.0)
    humidity = np.clip(MEAN_HUMIDITY - DAILY_HUMIDITY * day + changing, 0.3, 0.99)
    gust = np.clip(1 + GUSTINESS * autocorrelated(drawn[:, 2], 1.0), 0.5, 1.5)
    return temp, humidity, gust


def autocorrelated(white: Numbers, correlation_steps: float) -> Numbers:
    """Turn independent draws of variance 1 into ones that are correlated over some steps (a first-order process)."""
    keep = float(np.exp(-1 / correlation_steps))
    follow = float(np.sqrt(1 - keep**2))
    found = np.empty_like(white)
    last = white[0]
    found[0] = last
    for i in range(1, len(white)):
        last = keep * last + follow * white[i]
        found[i] = last
    return found
