"""The trend of a figure of charges, and the day on which it will cross a limit, with bounds."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Trend:
    """Says on which day a figure will cross ``limit`` if it goes on as over the last ``charges`` charges.

    Silent with fewer than ``least_charges``, where the slope may be chance (``confidence``, of both sides together),
    or where the day lies further ahead than ``horizon_days``.
    """

    side: Literal["above", "below"]
    limit: float
    charges: int = 20
    least_charges: int = 8
    confidence: float = 0.95
    horizon_days: float = 90
