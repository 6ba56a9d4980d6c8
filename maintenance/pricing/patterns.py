"""What is said where waiting cannot be priced; ``plant.frame.saying`` tells how values are said."""

from typing import Final

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from plant.frame.saying import Patterns

PATTERNS: Final[Patterns] = {
    "price.too_hot": _(
        "%(kiln)s reads %(usual_c)s, and this can be worked out up to %(most_c)s, where what is published ends: "
        "what is filled in is not the climate of this kiln."
    ),
    "price.cannot_be_said": _("What waiting costs cannot be said: %(why)s"),
    "waiting.assumed": _(
        "Waiting costs %(cost_money)s a day, all of it assumed: %(heat_kwh)s kWh of heat, %(lost_m3)s not dried."
    ),
    "waiting.a_day": _(
        "Waiting with all that is to be done costs %(cost_money)s a day; %(assumed_money)s of it rest on assumptions."
    ),
    "waiting.unpriced": ngettext_lazy(
        "What waiting with %(count)s job costs cannot be said: here it counts as nothing, which it is not.",
        "What waiting with %(count)s jobs costs cannot be said: here they count as nothing, which they are not.",
        "count",
    ),
    "price.no_rate": _("What waiting costs cannot be said: no charge tells what the kiln dries a day."),
}
