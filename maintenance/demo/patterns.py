"""What is said while the demo mill is being filled; ``plant.saying`` tells how values are said."""

from typing import Final

from django.utils.translation import gettext_lazy as _

from plant.frame.saying import Patterns

PATTERNS: Final[Patterns] = {
    "demo.readings": _("readings of the kilns and what the watches say to them, %(done)s of %(kilns)s kilns"),
    "demo.day": _("the day's work"),
    "demo.plan": _("the first plan"),
}
