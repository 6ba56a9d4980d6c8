"""Curves of moist air and wood as tables, for a simulation that asks them a million times. Made of the formulas."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from plant.physics.emc import emc_pct, humidity_for_emc
from plant.physics.saturation import saturation_pressure_pa

Numbers = NDArray[np.float64]

_TEMPS_C: Final = np.arange(-60.0, 200.0, 0.25)
_LN_PA: Final = np.log(saturation_pressure_pa(_TEMPS_C))

_WOOD_STEP_C, _WOOD_STEP_PCT, _HOTTEST_C, _MOISTEST_PCT = 5.0, 0.25, 110.0, 30.0


def _activities() -> Numbers:
    temps = np.arange(0.0, _HOTTEST_C + _WOOD_STEP_C, _WOOD_STEP_C)
    moistures = np.arange(0.0, _MOISTEST_PCT + _WOOD_STEP_PCT, _WOOD_STEP_PCT)
    most = emc_pct(temps, 1.0)[:, None]
    return np.asarray(humidity_for_emc(temps[:, None], np.minimum(moistures[None, :], most)))


_ACTIVITY: Final = _activities()


def between(values: Numbers, low: float, high: float) -> Numbers:
    """As `numpy.clip`, which takes longer to begin than a few dozen chambers take to clip."""
    return np.asarray(np.minimum(np.maximum(values, low), high))


def saturation_pa(temp_c: Numbers) -> Numbers:
    """Look up the saturation pressure in Pa, -60 to 200 °C; within 0.002 % of `saturation_pressure_pa`."""
    return np.asarray(np.exp(np.interp(temp_c, _TEMPS_C, _LN_PA)))


def wood_activity(temp_c: Numbers, moisture: Numbers) -> Numbers:
    """Look up the relative humidity (fraction) over wood of a moisture content (fraction): `emc_pct` the other way.

    Wood moister than its equilibrium with saturated air counts as wet; temperatures beyond 0 to 110 °C count as the
    nearest of them.
    """
    row = between(temp_c / _WOOD_STEP_C, 0, _ACTIVITY.shape[0] - 1.001)
    column = between(100 * moisture / _WOOD_STEP_PCT, 0, _ACTIVITY.shape[1] - 1.001)
    top, left = row.astype(np.intp), column.astype(np.intp)
    down, right = row - top, column - left
    upper = (1 - right) * _ACTIVITY[top, left] + right * _ACTIVITY[top, left + 1]
    lower = (1 - right) * _ACTIVITY[top + 1, left] + right * _ACTIVITY[top + 1, left + 1]
    return np.asarray((1 - down) * upper + down * lower)
