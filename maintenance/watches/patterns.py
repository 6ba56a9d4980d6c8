"""What a watch says when it speaks up: words that a mill may write itself; ``words.py`` fills them."""

from typing import Final

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from maintenance.watches.words import say_watch
from plant.frame.saying import Patterns, Worded

PATTERNS: Final[Patterns] = {
    "watch.suspects": _("Suspected, the likeliest first: %(modes)s."),
    "watch.suspect": _("%(name)s"),
    "watch.suspect_found": ngettext_lazy(
        "%(name)s (found here once, %(last_on)s)", "%(name)s (found here %(count)s times, last %(last_on)s)", "count"
    ),
    "watch.says": Worded(
        say_watch, frozenset({"words", "place", "unit", "since_at", "value", "limit", "charges", "crosses_on"})
    ),
}
