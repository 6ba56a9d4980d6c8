"""What is wrong in a logger's file: where, what, and how to mend it."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from plant.basics.sentences import Sentence, Sentences

MOST_SHOWN: Final = 50
LONGEST_SHOWN: Final = 40


@dataclass(frozen=True, slots=True)
class FileFault:
    """One thing that is wrong; ``line`` counts as an editor does, 0 for the whole file."""

    what: Sentence
    mend: Sentence
    line: int = 0
    column: str = ""
    text: str = ""

    def told(self) -> Sentence:
        """Say all of it in one sentence."""
        place = {
            name: value
            for name, value in (
                ("line", self.line),
                ("column", _shortened(self.column)),
                ("text", _shortened(self.text)),
            )
            if value
        }
        return Sentence.of("file.fault", what=self.what, mend=self.mend, **place)


def _shortened(text: str) -> str:
    plain = " ".join(text.split())
    return plain if len(plain) <= LONGEST_SHOWN else f"{plain[: LONGEST_SHOWN - 3]}..."


class FaultyFileError(ValueError):
    """Raised for a file that cannot be taken in as it is; ``faults`` are in order of lines, ``count`` counts all."""

    def __init__(self, faults: Iterable[FileFault], count: int | None = None) -> None:
        self.faults = tuple(faults)
        self.count = len(self.faults) if count is None else count
        super().__init__(str(self.told()[0]) if self.faults else "")

    def told(self) -> Sentences:
        """Return the faults as sentences, the first ones where there are many."""
        told = tuple(fault.told() for fault in self.faults[:MOST_SHOWN])
        rest = self.count - len(told)
        return (*told, Sentence.of("file.more", count=rest)) if rest > 0 else told


class OtherHeadError(FaultyFileError):
    """Raised where a file's columns are not those of the form: somebody must look at it once."""


def refuse(what: Sentence, mend: Sentence, line: int = 0, column: str = "", text: str = "") -> FaultyFileError:
    """Return the refusal for one reason."""
    return FaultyFileError([FileFault(what, mend, line, column, text)])
