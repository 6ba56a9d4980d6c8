"""What the ground storey says; ``plant.frame.saying`` tells how values are said."""

from typing import Final

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from plant.frame.saying import Patterns

BACKGROUND: Final[Patterns] = {
    "job.unknown_task": _("No task is called “%(task)s”."),
    "job.too_long": ngettext_lazy(
        "It took longer than the %(count)s second a task may take.",
        "It took longer than the %(count)s seconds a task may take.",
        "count",
    ),
    "job.vanished": ngettext_lazy(
        "Its worker vanished while it was under way: %(count)s time of %(tries)s.",
        "Its worker vanished while it was under way: %(count)s times of %(tries)s.",
        "count",
    ),
    "job.stopped_with_server": ngettext_lazy(
        "It was stopped with the server %(count)s time.", "It was stopped with the server %(count)s times.", "count"
    ),
}

PATTERNS: Final[Patterns] = {**BACKGROUND}
