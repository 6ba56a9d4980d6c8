"""What loading says of itself while it is at it."""

from typing import Final

from django.utils.translation import gettext_lazy as _

from plant.frame.saying import Patterns

PATTERNS: Final[Patterns] = {
    "files.rows_of": _("Rows of %(file)s"),
}
