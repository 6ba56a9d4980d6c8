"""Downtime records of a kiln: what stood still or ran slowly, from when to when, and of which kind."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from plant.basics.periods import to_epoch_s

WHOLE = 1000
"""A share of capacity of 1, in thousandths."""

DowntimeRow = tuple[int, int, int | None, str, int]
"""(kiln id, start s, end s or None while open, kind, share of capacity lost in thousandths), UTC epoch seconds."""


class DowntimeKind(StrEnum):
    """Kind of a record; lack of timber is kept among them though it is not downtime (IEC 60050-192-02-21).

    EXTERNAL is what came from outside the kiln: a power cut, no crew, no heat from the plant. The kiln itself was fit,
    so it is externally disabled time and not downtime (EN 13306:2017; IEC 60050-192, figure 1).
    """

    PLANNED = "planned"
    UNPLANNED = "unplanned"
    NO_TIMBER = "no_timber"
    EXTERNAL = "external"


class DeratingRule(StrEnum):
    """How shares of capacity that are lost at the same time go together.

    ADDITIVE adds them and stops at the whole; DOMINANT takes the largest alone, so that a derating under a
    larger one adds nothing. NERC GADS adds, except a derating that lies in the shadow of a larger one for its
    whole length; the two rules here bracket that figure.
    """

    ADDITIVE = "additive"
    DOMINANT = "dominant"


@dataclass(frozen=True, slots=True)
class Downtime:
    """One record; without an end it is still open, and expected to end at ``expected_end_at``, give or take.

    ``charge_end_unknown_at`` is since when nobody knows the end of the charge that it holds up; None where somebody
    does.

    Raises
    ------
    ValueError
        If an instant has no time zone, the end lies before the start, or the share is outside 0 to 1000 thousandths.
    """

    kiln_id: int
    start_at: datetime
    end_at: datetime | None
    kind: DowntimeKind
    share_lost_thousandths: int = WHOLE
    cause: str = ""
    expected_end_at: datetime | None = None
    end_sd_h: float = 0.0
    charge_end_unknown_at: datetime | None = None

    def __post_init__(self) -> None:
        start_s = to_epoch_s(self.start_at)
        if self.end_at is not None and to_epoch_s(self.end_at) < start_s:
            raise ValueError(
                f"downtime ends at {self.end_at.isoformat()}, before its start {self.start_at.isoformat()}"
            )
        if not 0 <= self.share_lost_thousandths <= WHOLE:
            raise ValueError(f"share of capacity lost {self.share_lost_thousandths} is outside 0 to 1000 thousandths")

    @property
    def is_stop(self) -> bool:
        """Whether the kiln stands still, whoever caused it, with the whole capacity lost."""
        return self.kind is not DowntimeKind.NO_TIMBER and self.share_lost_thousandths == WHOLE

    @property
    def until_at(self) -> datetime | None:
        """When it ended, else when it is expected to."""
        return self.end_at or self.expected_end_at

    def row(self) -> DowntimeRow:
        """Give the record in the form that the time account reads."""
        end_s = None if self.end_at is None else to_epoch_s(self.end_at)
        return self.kiln_id, to_epoch_s(self.start_at), end_s, self.kind, self.share_lost_thousandths
