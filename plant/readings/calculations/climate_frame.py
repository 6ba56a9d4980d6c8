"""A chamber's readings on an even grid of moments: what watches, derived figures and tests look at."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plant.physics.psychrometrics import STANDARD_PRESSURE_PA

Values = NDArray[np.float64]

# What a kiln is doing at a moment, as a small number: the phases of a charge, and the time between charges.
PHASE_CODES: Final[dict[str, int]] = {
    "between": 0,
    "loading": 1,
    "heating_up": 2,
    "drying": 3,
    "conditioning": 4,
    "cooling": 5,
    "unloading": 6,
}


@dataclass(frozen=True, slots=True)
class Frame:
    """Readings of one kiln; moment ``i`` is ``start_s + i * step_s`` seconds since 1970 (UTC).

    ``values`` maps a channel's key (`plant.physics.quantities.channel_key`) to an array of shape (n,) in the
    quantity's unit, NaN where no trustworthy reading is at hand (none, too old, or marked). ``phase`` has shape (n,),
    int8, one of `PHASE_CODES`. Channels that the kiln does not have are absent from ``values``.
    ``pressure_pa`` is the usual air pressure at the mill's height.
    """

    start_s: int
    step_s: int
    values: Mapping[str, Values]
    phase: NDArray[np.int8]
    pressure_pa: float = STANDARD_PRESSURE_PA

    def __len__(self) -> int:
        """Return the number of moments."""
        return len(self.phase)

    @property
    def moments_s(self) -> NDArray[np.int64]:
        """Return the moments in seconds since 1970, shape (n,)."""
        return self.start_s + self.step_s * np.arange(len(self), dtype=np.int64)


def hold_last(at_s: NDArray[np.int64], value: Values, start_s: int, step_s: int, count: int, max_age_s: int) -> Values:
    """Put readings on a grid: each moment has the last reading at or before it, if that is fresh enough.

    Parameters
    ----------
    at_s : NDArray[int64]
        shape (m,), seconds since 1970, ascending
    value : Values
        shape (m,), the readings; NaN readings count as none at that moment
    start_s, step_s, count : int
        first moment, step in seconds (> 0) and number of moments of the grid
    max_age_s : int
        a reading older than this is stale

    Returns
    -------
    Values
        shape (count,), NaN where there is no fresh reading
    """
    grid = start_s + step_s * np.arange(count, dtype=np.int64)
    held = np.full(count, np.nan)
    if not len(at_s):
        return held
    last = np.searchsorted(at_s, grid, side="right") - 1
    known = last >= 0
    age = grid - at_s[np.maximum(last, 0)]
    fresh = known & (age <= max_age_s)
    held[fresh] = value[last[fresh]]
    return held
