"""What the history says of task sheets and check points; ``plant.frame.saying`` tells how values are said."""

from typing import Final

from django.utils.translation import gettext_lazy as _

from plant.frame.saying import Patterns

PATTERNS: Final[Patterns] = {
    "sheet.copied": _("Copied from %(what)s."),
    "sheet.version": _("It is version %(number)s now."),
    "sheet.looked_at": _("What was copied is at version %(number)s."),
    "sheet.goes_on": _("It goes on by %(sheet)s, no more by %(former)s."),
    "sheet.without": _("It goes on without a task sheet: %(former)s is withdrawn."),
}
