"""What must be said aloud, wherever it is found."""

from dataclasses import dataclass

from plant.basics.sentences import Sentence
from plant.frame.saying import say


@dataclass(frozen=True)
class Shout:
    """Something that must be said aloud; ``level`` is alarm or mind."""

    level: str
    said: Sentence
    number: str = ""

    @property
    def text(self) -> str:
        """Say it."""
        return say(self.said)
