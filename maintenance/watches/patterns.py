"""What a watch says when it speaks up: words that a mill may write itself; ``words.py`` fills them."""

from typing import Final

from maintenance.watches.words import say_watch
from plant.frame.saying import Patterns, Worded

PATTERNS: Final[Patterns] = {
    "watch.says": Worded(
        say_watch, frozenset({"words", "place", "unit", "since_at", "value", "limit", "charges", "crosses_on"})
    ),
}
