"""What is wrong in a file: where, why, and how to mend it."""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, field
from difflib import get_close_matches

# So many changed rows of a file are told one by one.
MOST_CHANGES_TOLD = 200


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong; ``row`` is counted as a spreadsheet does (the header is row 1), 0 for the whole file."""

    file: str
    row: int
    column: str
    value: str
    reason: str
    remedy: str

    def __str__(self) -> str:
        """Say all of it in one line."""
        place = self.file
        if self.row:
            place += f", row {self.row}"
        if self.column:
            place += f", column {self.column}"
        shown = self.value if len(self.value) <= 60 else f"{self.value[:57]}..."
        value = f" “{shown}”" if shown else ""
        return f"{place}:{value} {self.reason}. {self.remedy}"


class CellFault(ValueError):  # noqa: N818 (a refusal of what was typed, not a fault of the program)
    """A cell cannot be meant as it is."""

    def __init__(self, reason: str, remedy: str, column: str = "") -> None:
        super().__init__(reason)
        self.reason, self.remedy, self.column = reason, remedy, column


class Follows(ValueError):  # noqa: N818
    """A cell cannot be judged because what it builds on is at fault and listed already."""


class FileFault(ValueError):  # noqa: N818
    """A whole file cannot be read."""

    def __init__(self, file: str, reason: str, remedy: str, row: int = 0, column: str = "", value: str = "") -> None:
        super().__init__(reason)
        self.fault = Fault(file, row, column, value, reason, remedy)


@dataclass(frozen=True)
class RowChange:
    """A row that changes what is kept: the column -> what is kept, and what the row says."""

    table: str
    row: int
    key: str
    before: dict[str, str]
    after: dict[str, str]


@dataclass(frozen=True)
class RunningSaid:
    """That a file says that a kiln runs by now, of which the record does not know yet."""

    kiln: str
    charge: str
    begin_at: str


@dataclass
class Report:
    """What a load found and did."""

    faults: list[Fault] = field(default_factory=list)
    warnings: list[Fault] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    counts: dict[str, "Counts"] = field(default_factory=dict)
    # Table -> the file that holds it.
    files: dict[str, str] = field(default_factory=dict)
    changes: list[RowChange] = field(default_factory=list)
    # Charges that run by the files, and not yet by the record. Who is inside is asked when somebody looks.
    runs: list[RunningSaid] = field(default_factory=list)
    # Rows of charges that were taken out of the programme: somebody is to decide about them.
    taken_out: int = 0
    # Whether it was kept; never where it was only looked at.
    is_kept: bool = False

    @property
    def is_sound(self) -> bool:
        """Say whether nothing stands against loading."""
        return not self.faults

    @property
    def has_changes(self) -> bool:
        """Say whether any row was new or changed."""
        return any(counts.new or counts.changed for counts in self.counts.values())

    @property
    def digest(self) -> str:
        """Return what stands for all that the load would do: another one, where it would do something else."""
        counts = sorted((name, str(found)) for name, found in self.counts.items())
        return hashlib.sha256(repr((counts, self.changes, self.warnings, self.faults)).encode()).hexdigest()


@dataclass
class Counts:
    """How many rows of a file were new, changed, or as they were."""

    new: int = 0
    changed: int = 0
    unchanged: int = 0

    def __str__(self) -> str:
        """Say the three figures."""
        return f"{self.new} new, {self.changed} changed, {self.unchanged} unchanged"


def suggest(word: str, known: Iterable[str]) -> str:
    """Return the nearest known word as a question, or nothing."""
    near = get_close_matches(word.lower(), [name for name in known if name], n=1, cutoff=0.6)
    return f"Did you mean “{near[0]}”? " if near else ""
