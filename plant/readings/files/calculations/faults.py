"""What is wrong in a logger's file: where, what, and how to mend it."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

MOST_SHOWN: Final = 50
LONGEST_SHOWN: Final = 40


@dataclass(frozen=True, slots=True)
class FileFault:
    """One thing that is wrong; ``line`` counts as an editor does, 0 for the whole file."""

    what: str
    mend: str
    line: int = 0
    column: str = ""
    text: str = ""

    def __str__(self) -> str:
        """Say all of it in one line."""
        place = f"Line {self.line}" if self.line else ""
        if self.column:
            place += f"{', c' if place else 'C'}olumn “{_shortened(self.column)}”"
        shown = f"“{_shortened(self.text)}” " if self.text else ""
        what = self.what if place or shown else self.what[:1].upper() + self.what[1:]
        return f"{place}{': ' if place else ''}{shown}{what}. {self.mend}."


def _shortened(text: str) -> str:
    plain = " ".join(text.split())
    return plain if len(plain) <= LONGEST_SHOWN else f"{plain[: LONGEST_SHOWN - 3]}..."


class FaultyFileError(ValueError):
    """Raised for a file that cannot be taken in as it is; ``faults`` are in order of lines, ``count`` counts all."""

    def __init__(self, faults: Iterable[FileFault], count: int | None = None) -> None:
        self.faults = tuple(faults)
        self.count = len(self.faults) if count is None else count
        super().__init__(self.told()[0] if self.faults else "")

    def told(self) -> list[str]:
        """Return the faults as sentences, the first ones where there are many."""
        told = [str(fault) for fault in self.faults[:MOST_SHOWN]]
        rest = self.count - len(told)
        return [*told, f"And {rest} more of the kind."] if rest > 0 else told


class OtherHeadError(FaultyFileError):
    """Raised where a file's columns are not those of the form: somebody must look at it once."""


def refuse(what: str, mend: str, line: int = 0, column: str = "", text: str = "") -> FaultyFileError:
    """Return the refusal for one reason."""
    return FaultyFileError([FileFault(what, mend, line, column, text)])
