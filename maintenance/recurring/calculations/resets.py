"""Windows round a due date and what the next one is counted from when work is done early, inside it, or late.

Published practice has four kinds; `PRACTICES` names them with their sources.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import Final, Generic, TypeVar

from plant.basics.sentences import Sentence

Position = TypeVar("Position", date, float)


class Reset(StrEnum):
    """What the next due date is counted from."""

    ANCHORED = "anchored"
    FROM_COMPLETION = "from_completion"


class Timing(StrEnum):
    """When work was done, seen from its window."""

    EARLY = "early"
    INSIDE = "inside"
    LATE = "late"


@dataclass(frozen=True)
class Window:
    """How many days before and after the due date the work still counts as done on it, each 0 or more."""

    before_days: int = 0
    after_days: int = 0

    def __post_init__(self) -> None:
        if self.before_days < 0 or self.after_days < 0:
            raise ValueError(
                f"the window of {self.before_days} days before and {self.after_days} after is negative: "
                "give 0 or more days for each side"
            )

    def earliest_on(self, due_on: date) -> date:
        """Give the first day of the window."""
        return due_on - timedelta(days=min(self.before_days, due_on.toordinal() - 1))

    def latest_on(self, due_on: date) -> date:
        """Give the last day of the window."""
        return due_on + timedelta(days=min(self.after_days, (date.max - due_on).days))


NO_WINDOW: Final = Window()


@dataclass(frozen=True)
class Resets:
    """The reset for each of early, inside and late."""

    early: Reset
    inside: Reset
    late: Reset

    def after(self, timing: Timing) -> Reset:
        """Give the reset for work done at that time."""
        return {Timing.EARLY: self.early, Timing.INSIDE: self.inside, Timing.LATE: self.late}[timing]


ALWAYS_ANCHORED: Final = Resets(Reset.ANCHORED, Reset.ANCHORED, Reset.ANCHORED)
ALWAYS_FROM_COMPLETION: Final = Resets(Reset.FROM_COMPLETION, Reset.FROM_COMPLETION, Reset.FROM_COMPLETION)
ANCHORED_INSIDE_WINDOW: Final = Resets(Reset.FROM_COMPLETION, Reset.ANCHORED, Reset.FROM_COMPLETION)
EARLY_FROM_COMPLETION: Final = Resets(Reset.FROM_COMPLETION, Reset.ANCHORED, Reset.ANCHORED)


@dataclass(frozen=True)
class Practice:
    """One published practice: a key to store, words to choose it by, its resets and its source."""

    key: str
    words: Sentence
    resets: Resets
    source: str


PRACTICES: Final = (
    Practice(
        "always_anchored",
        Sentence.of("recur.always_anchored"),
        ALWAYS_ANCHORED,
        "14 CFR 91.409(b)",
    ),
    Practice(
        "always_from_completion",
        Sentence.of("recur.always_from_completion"),
        ALWAYS_FROM_COMPLETION,
        "NRC Generic Letter 89-14; Standard Technical Specifications SR 3.0.2",
    ),
    Practice(
        "anchored_inside_window",
        Sentence.of("recur.anchored_inside_window"),
        ANCHORED_INSIDE_WINDOW,
        "DA PAM 750-8 / AR 750-1 (as explained in PS Magazine); IMO Res. A.1104(29), 1.3",
    ),
    Practice(
        "early_from_completion",
        Sentence.of("recur.early_from_completion"),
        EARLY_FROM_COMPLETION,
        "an engine maker's line maintenance manual, time limits",
    ),
)


@dataclass(frozen=True)
class Settled(Generic[Position]):
    """Which due position work has settled, how it lay, and which ones passed without work."""

    timing: Timing
    settled: Position
    missed: tuple[Position, ...]
    last: Position


def settle(due: Position, opened: Sequence[Position], is_inside_last: bool) -> Settled[Position]:
    """Say which occurrence work has settled.

    Work that is so late that it falls into the window of a later occurrence counts as that one: to do it twice
    within days would help nobody. The occurrences between are missed, and recorded, not done again.

    Parameters
    ----------
    due : date or float
        the position the work was due at.
    opened : Sequence[date or float]
        the occurrences from `due` on whose windows had opened when the work was done, in order.
    is_inside_last : bool
        whether the work lies inside the window of the last of them.

    Returns
    -------
    Settled
        ``last`` is the last position that is over and done with; an anchored series goes on after it.
    """
    if not opened:
        return Settled(Timing.EARLY, due, (), due)
    if is_inside_last:
        return Settled(Timing.INSIDE, opened[-1], tuple(opened[:-1]), opened[-1])
    return Settled(Timing.LATE, opened[0], tuple(opened[1:]), opened[-1])
