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

#: What the history calls what was done (``Change.act``).
ACTS: Final[Patterns] = {
    "act.absence": _("absence"),
    "act.absence taken off": _("absence taken off"),
    "act.changed": _("changed"),
    "act.charge taken out of the programme": _("charge taken out of the programme"),
    "act.corrected": _("corrected"),
    "act.day off": _("day off"),
    "act.day off taken back": _("day off taken back"),
    "act.downtime corrected": _("downtime corrected"),
    "act.downtime ended": _("downtime ended"),
    "act.downtime reported": _("downtime reported"),
    "act.downtime taken back": _("downtime taken back"),
    "act.ended": _("ended"),
    "act.exchange taken back": _("exchange taken back"),
    "act.exchanged": _("exchanged"),
    "act.gave way to another charge": _("gave way to another charge"),
    "act.in use again": _("in use again"),
    "act.made": _("made"),
    "act.moved": _("moved"),
    "act.moved back": _("moved back"),
    "act.name given": _("name given"),
    "act.name taken off": _("name taken off"),
    "act.new first password": _("new first password"),
    "act.particulars changed": _("particulars changed"),
    "act.plan changed": _("plan changed"),
    "act.planned": _("planned"),
    "act.put on record": _("put on record"),
    "act.reported": _("reported"),
    "act.retired": _("taken out of use"),
    "act.roles": _("roles"),
    "act.set up": _("set up"),
    "act.settings changed": _("settings changed"),
    "act.sign-in given": _("sign-in given"),
    "act.skill": _("skill"),
    "act.skill taken off": _("skill taken off"),
    "act.started again": _("started again"),
    "act.state": _("state"),
    "act.token made": _("token made"),
    "act.token revoked": _("token revoked"),
    "act.taken back": _("taken back"),
    "act.taken out of the programme": _("taken out of the programme"),
    "act.told: started": _("told: loaded and started"),
    "act.told: not_begun": _("told: did not begin"),
    "act.told: opened": _("told: opened"),
    "act.told: unloaded": _("told: unloaded"),
    "act.told: expected": _("told: expected at another time"),
    "act.told: taken_back": _("told: taken back"),
    "act.turn on a shift": _("turn on a shift"),
    "act.turn on a shift ends": _("turn on a shift ends"),
    "act.way of reading confirmed": _("way of reading confirmed"),
}

STOPS: Final[Patterns] = {
    "stop.cause": _("%(kiln)s stands: %(cause)s"),
    "stop.planned": _("%(kiln)s stands, as planned"),
    "stop.unplanned": _("%(kiln)s stands, unplanned"),
    "stop.external": _("%(kiln)s stands by a cause outside the kiln"),
}

PATTERNS: Final[Patterns] = {**ACTS, **BACKGROUND, **CHARGE_FIGURES, **STOPS}
