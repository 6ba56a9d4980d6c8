"""What must be said aloud, wherever it is found."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Shout:
    """Something that must be said aloud; ``level`` is alarm or mind."""

    level: str
    text: str
    number: str = ""
