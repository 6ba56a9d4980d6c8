"""What the board shows of each kiln, whether it comes from the record or from a plan that was worked out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from plant.models import Downtime, Kiln


@dataclass(frozen=True)
class JobSeen:
    """A job with a place."""

    number: str
    title: str
    kiln: str
    start_at: datetime
    end_at: datetime
    people: tuple[str, ...]
    needs_state: str
    after_charge_id: int | None = None
    during_charge_id: int | None = None
    is_safety: bool = False
    is_pinned: bool = False
    is_barred: bool = False
    #: Why its place no longer holds; nothing where it holds.
    broken: str = ""
    #: Work under way, or a place that is past, is not moved.
    may_move: bool = True
    is_under_way: bool = False

    @property
    def is_inside(self) -> bool:
        """Say whether it is done with the kiln locked out."""
        return self.needs_state in ("empty", "still")

    @property
    def minutes(self) -> int:
        """Return how long it takes."""
        return int((self.end_at - self.start_at).total_seconds() // 60)

    @property
    def find(self) -> str:
        """Return the words by which it is found."""
        return " ".join((self.number, self.title, *self.people)).lower()


@dataclass(frozen=True)
class ChargeSeen:
    """A charge with its phases; an end that nobody knows is None."""

    number: str
    phases: tuple[tuple[str, datetime, datetime | None], ...]
    end_sd_h: float = 0.0
    held_min: int = 0
    #: Of what is on record: its row, and whether it is planned still.
    pk: int = 0
    is_planned: bool = False


@dataclass(frozen=True)
class GapSeen:
    """An opening of a kiln: ``key`` names it in an address, empty where it has no page of its own."""

    start_at: datetime
    end_at: datetime | None
    after_charge_id: int | None
    key: str


@dataclass(frozen=True)
class StopSeen:
    """A kiln locked out for work: set-up until ``ready_to_work_at``, made ready again from ``restoring_at``."""

    lock_out_at: datetime
    ready_to_work_at: datetime
    restoring_at: datetime
    ready_at: datetime
    who: str


@dataclass
class KilnSeen:
    """All that is to be drawn of a kiln."""

    kiln: Kiln
    charges: Sequence[ChargeSeen] = ()
    gaps: Sequence[GapSeen] = ()
    stops: Sequence[StopSeen] = ()
    downs: Sequence[Downtime] = ()
    #: Id of a stop that goes on -> until when it may last.
    down_until: Mapping[int, datetime] = field(default_factory=dict)
    jobs: list[JobSeen] = field(default_factory=list)
