"""What is said while the demo mill is being filled; ``plant.saying`` tells how values are said."""

from typing import Final

from django.utils.translation import gettext_lazy as _

from plant.frame.saying import Patterns

PATTERNS: Final[Patterns] = {
    "demo.readings": _("readings of the kilns, %(done)s of %(kilns)s; the day's work and a first plan come after them"),
    "demo.day": _("the day's work; a first plan comes after it"),
    "demo.plan": _("a first plan"),
}
