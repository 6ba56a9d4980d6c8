"""What must be said wherever a kiln is named: it was reported running, somebody is inside, nobody may enter.

The storeys above know it and register who says it; every page and every paper asks here, so that none can forget it.
"""

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from enum import StrEnum
from hashlib import sha256


class WarningKind(StrEnum):
    """What a warning is about; what comes first matters most."""

    ALARM = "alarm"
    BARRED = "barred"
    OVERDUE = "overdue"
    INSIDE = "inside"


@dataclass(frozen=True, slots=True)
class KilnWarning:
    """One warning of the kiln with a tag: a short word for a mark beside its name, and the sentence."""

    kind: WarningKind
    kiln: str
    mark: str
    sentence: str
    # Where it is dealt with, and what is done there.
    address: str = ""
    todo: str = ""

    @property
    def is_loud(self) -> bool:
        """Whether somebody may be hurt by not reading it."""
        return self.kind in (WarningKind.ALARM, WarningKind.BARRED)


Source = Callable[[], Iterable[KilnWarning]]
_SOURCES: list[Source] = []
_ORDER = {kind: number for number, kind in enumerate(WarningKind)}


def register(source: Source) -> None:
    """Have a source asked wherever a kiln is named."""
    if source not in _SOURCES:
        _SOURCES.append(source)


def kiln_warnings() -> list[KilnWarning]:
    """Return what must be said of all kilns, what matters most first; kilns of which something must be are few."""
    found = (one for source in _SOURCES for one in source())
    return sorted(found, key=lambda one: (_ORDER[one.kind], one.kiln))


def warnings_of(tags: Collection[str]) -> list[KilnWarning]:
    """Return what must be said of some kilns, what matters most first."""
    return [one for one in kiln_warnings() if one.kiln in tags] if tags else []


def digest(warnings: Iterable[KilnWarning]) -> str:
    """Return what tells whether the same warnings stand, so that an open page is not told twice."""
    return sha256("\n".join(f"{one.kind} {one.kiln} {one.sentence}" for one in warnings).encode()).hexdigest()[:16]
