"""What the planner's storey says where no room of its own says it; ``plant.frame.saying`` tells how values are said."""

from typing import Final

from django.utils.translation import gettext_lazy as _

from plant.frame.saying import Patterns

PATTERNS: Final[Patterns] = {
    "day.what_recurs": _("what recurs"),
    "day.parts": _("parts on hand"),
    "day.places": _("places"),
    "day.orders": _("what to order"),
    "day.prices": _("what waiting costs"),
    "day.late": _("what is late"),
    "day.no_mill": _("No mill is loaded yet: load a mill's files first."),
    "plan.gathering": _("gathering jobs, charges and people"),
    "plan.gone": _("The plan is not kept any more."),
    "trial.watch_gone": _("The watch is not there any more."),
}
