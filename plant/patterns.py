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

CHARGE_FIGURES: Final[Patterns] = {
    "figure.difference": _("%(kelvin)s K (%(fahrenheit)s °F)"),
    "figure.not_measured": _("the kiln does not measure what it takes"),
    "figure.few_readings": _("fewer than %(hours)s hours of usable readings"),
    "figure.no_heating_up": _("no heating up in these readings"),
    "figure.no_drying": _("no drying in these readings"),
    "figure.no_conditioning": _("no conditioning in these readings"),
    "figure.no_set_point": _("no set point of the temperature while heating up"),
    "figure.no_start": _("no temperature at the start"),
    "figure.not_hot": _("the set point of the temperature was not reached while heating up"),
    "figure.began_warm": _("it began so warm that less than %(difference)s were to be heated"),
    "figure.no_valve": _("the heating valve is not known while heating up"),
    "figure.no_spray": _("no spray in the conditioning"),
    "figure.nearly_humid": _("less than %(difference)s of wet bulb were missing when the spray opened"),
    "figure.not_humid": _("the set point of the humidity was not reached in the conditioning"),
    "figure.electrodes_short": _("the electrodes do not cover the drying"),
    "figure.nothing_to_compare": _("no temperature to compare with its set point"),
}

PATTERNS: Final[Patterns] = {**BACKGROUND, **CHARGE_FIGURES}
