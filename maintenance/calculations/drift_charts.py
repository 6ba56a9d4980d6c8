"""Control charts that hear a slow drift of a figure of charges: EWMA and tabular CUSUM.

They take figures of whole charges, never readings: readings a minute apart hang together, and a chart on them cries
wolf within hours.
"""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Drift:
    """A drift chart over one figure of a kiln's charges.

    ``baseline_charges`` of its own first charges tell what is usual; with fewer than ``least_charges`` the chart is
    silent. ``least_shift`` is what must have shifted at least, in the figure's unit, to be worth a word;
    ``least_sd`` keeps a kiln that was quiet by chance from having too small a spread.
    """

    chart: Literal["ewma", "cusum"]
    side: Literal["above", "below", "both"] = "both"
    baseline_charges: int = 20
    least_charges: int = 8
    weight: float = 0.2
    width: float = 2.96
    slack: float = 0.5
    decision: float = 5.0
    least_sd: float = 0.0
    least_shift: float = 0.0
