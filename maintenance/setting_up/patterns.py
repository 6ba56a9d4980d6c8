"""Why a new kiln is proposed to have what it has; ``plant.frame.saying`` tells how values are said."""

from typing import Final

from django.utils.translation import gettext_lazy as _

from plant.frame.saying import Patterns

PATTERNS: Final[Patterns] = {
    "setup.envelope": _("It keeps heat and vapour in: every kiln has it."),
    "setup.with_door": _("It belongs to a main door."),
    "setup.way_out": _("Whoever is inside must find out, in the dark too."),
    "setup.flaps": _("Damp air goes out, dry air comes in: every kiln that dries with outside air has it."),
    "setup.fans": _("Without moving air the timber dries unevenly, or not at all."),
    "setup.reversal": _("The fans reverse."),
    "setup.baffles": _("Air takes the easiest way: without baffles it passes beside the stacks."),
    "setup.both_sides": _("One on each side, so that the air is known where it enters the stack and where it leaves."),
    "setup.electrodes": _("They say how moist the wood itself is."),
    "setup.spray": _("It humidifies."),
    "setup.spray_water": _("Hard or dirty water closes the nozzles."),
    "setup.burner": _("It is fired: its safety controls come first."),
    "setup.heat": _("It brings the heat in."),
    "setup.trap": _("Steam heats it: the trap lets water out and keeps steam in."),
    "setup.air_drives": _("Flaps or valves are driven by compressed air."),
    "setup.surroundings": _("People walk, and water runs off: every kiln has it."),
    "setup.cars": _("Timber goes in on kiln cars."),
    "setup.lock_out": _("Before anybody goes in, every source of energy is locked out here."),
    "setup.by_pressure": _("It suits the steam pressure that was said."),
    "setup.other_pressure": _("It is meant for another steam pressure."),
    "setup.pressure_unknown": _("Tick the one of the three that suits the steam pressure."),
}
