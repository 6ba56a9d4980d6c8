"""What a chamber is made of, from a few answers about it: each position with the reason why it is there.

What every kiln has, and what comes with its heating and humidifying, is common practice as the USDA's Dry Kiln
Operator's Manual (Agriculture Handbook 188, ch. 2) describes kilns; from memory.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from plant.basics.sentences import Sentence
from plant.physics.quantities import channel_key

SIDES = ("left", "right")
#: Heating media that a valve lets into the coil.
WITH_VALVE = ("hot_water", "steam", "thermal_oil")
#: Surveys of steam traps by the pressure before them, bar: catalogue sheet -> above, up to. The bounds are the 30 and
#: 150 psig of the sheets' own source.
TRAP_SURVEYS = {
    "trap-survey-low": (Decimal(0), Decimal("2.1")),
    "trap-survey-mid": (Decimal("2.1"), Decimal("10.3")),
    "trap-survey-high": (Decimal("10.3"), Decimal("Infinity")),
}
# Why a position is there.
ENVELOPE = Sentence.of("setup.envelope")
WITH_DOOR = Sentence.of("setup.with_door")
WAY_OUT = Sentence.of("setup.way_out")
FLAPS = Sentence.of("setup.flaps")
FANS = Sentence.of("setup.fans")
REVERSAL = Sentence.of("setup.reversal")
BAFFLES = Sentence.of("setup.baffles")
BOTH_SIDES = Sentence.of("setup.both_sides")
ELECTRODES = Sentence.of("setup.electrodes")
AIR_DRIVES = Sentence.of("setup.air_drives")
SURROUNDINGS = Sentence.of("setup.surroundings")
CARS = Sentence.of("setup.cars")
LOCK_OUT = Sentence.of("setup.lock_out")
SPRAY = Sentence.of("setup.spray")
SPRAY_WATER = Sentence.of("setup.spray_water")
BURNER = Sentence.of("setup.burner")
HEAT = Sentence.of("setup.heat")
TRAP = Sentence.of("setup.trap")
# Shares that lie as evenly as can be however many there are: multiples of it without their whole part.
GOLDEN_SHARE = 0.6180339887498949


@dataclass(frozen=True)
class Answers:
    """What somebody says of a new kiln; heating, humidifying and sensing by the codes of ``plant.models.Kiln``.

    ``steam_bar`` is the gauge pressure before the traps, None where it is not known or no steam comes in.
    """

    heating_medium: str
    humidifying: str
    climate_sensing: str
    is_reversing: bool
    main_doors: int
    escape_doors: int
    fans: int
    electrode_groups: int
    has_air_drives: bool = False
    is_loaded_on_cars: bool = False
    steam_bar: Decimal | None = None


@dataclass(frozen=True)
class Position:
    """A place in the chamber that something of a kind sits in; ``number`` counts where there are several of them."""

    kind: str
    tag: str
    number: int | None
    side: str
    why: Sentence


def positions(answers: Answers) -> tuple[Position, ...]:
    """Return what such a chamber is usually made of. Raises ValueError for a count below nought."""
    if min(answers.main_doors, answers.escape_doors, answers.fans, answers.electrode_groups) < 0:
        raise ValueError("A count is not below nought.")
    return tuple(_positions(answers))


def _positions(answers: Answers) -> Iterator[Position]:
    for kind in ("inner-skin", "outer-skin", "wall-insulation"):
        yield _one(kind, ENVELOPE)
    for kind in ("main-door", "door-seal", "door-hanger", "door-threshold"):
        yield from _several(kind, answers.main_doors, WITH_DOOR)
    yield from _several("escape-door", answers.escape_doors, WAY_OUT)
    yield _one("escape-sign", WAY_OUT)
    for kind in ("supply-flap", "exhaust-flap", "flap-drive"):
        yield _one(kind, FLAPS)
    for kind in ("fan", "fan-motor"):
        yield from _several(kind, answers.fans, FANS)
    if answers.is_reversing and answers.fans:
        yield _one("fan-reversal", REVERSAL)
    yield _one("baffle", BAFFLES, "both")
    for side in SIDES:
        yield _one("thermometer", BOTH_SIDES, side)
    sensing = {"psychrometer": "psychrometer", "emc_plate": "emc-plate", "humidity_sensor": "humidity-sensor"}
    for side in SIDES:
        yield _one(sensing[answers.climate_sensing], BOTH_SIDES, side)
    yield from _several("wood-electrode", answers.electrode_groups, ELECTRODES)
    if answers.electrode_groups:
        yield _one("electrode-cable", ELECTRODES)
    yield from _humidifying(answers)
    yield from _heating(answers)
    if answers.has_air_drives:
        yield _one("compressed-air", AIR_DRIVES)
    for kind in ("floor-and-drain", "walkway", "chamber-cleanliness"):
        yield _one(kind, SURROUNDINGS)
    if answers.is_loaded_on_cars:
        yield _one("kiln-car-track", CARS)
    yield _one("lock-out-point", LOCK_OUT)


def _humidifying(answers: Answers) -> Iterator[Position]:
    if answers.humidifying == "none":
        return
    yield _one("spray-line", SPRAY, "both")
    yield _one("spray-valve", SPRAY)
    if answers.humidifying != "steam_spray":
        yield _one("water-supply", SPRAY_WATER)


def _heating(answers: Answers) -> Iterator[Position]:
    if answers.heating_medium == "direct_fired":
        yield _one("burner-controls", BURNER)
        return
    yield _one("heating-coil", HEAT)
    if answers.heating_medium in WITH_VALVE:
        yield _one("heating-line", HEAT)
        yield _one("heating-valve", HEAT)
    if answers.heating_medium == "steam":
        yield _one("steam-trap", TRAP)


def _one(kind: str, why: Sentence, side: str = "") -> Position:
    tag = f"{kind}-{side}" if side in SIDES else kind
    return Position(kind, tag, None, side, why)


def _several(kind: str, count: int, why: Sentence) -> Iterator[Position]:
    """Number them where there is more than one."""
    if count == 1:
        yield _one(kind, why)
    else:
        for number in range(1, count + 1):
            yield Position(kind, f"{kind}-{number}", number, "", why)


def usual_channels(answers: Answers) -> frozenset[str]:
    """Return the keys of what the control of such a chamber usually measures; what a mill does record, it names later.

    Both sides of the stack, the set points, valves and flaps, the current of each fan, the moisture of the wood: common
    practice, from memory (as for `positions`). Heat meters, door contacts and messages are less usual and left out.
    """
    climate = {"psychrometer": "wet_bulb", "emc_plate": "emc", "humidity_sensor": "relative_humidity"}
    sensed = climate[answers.climate_sensing]
    found = [(one, side) for one in ("air_temperature", sensed) for side in SIDES]
    found += [("set_air_temperature", ""), (f"set_{sensed}", ""), ("flap_position", "")]
    if answers.heating_medium in WITH_VALVE:
        found.append(("heating_valve", ""))
    if answers.humidifying != "none":
        found.append(("spray_valve", ""))
    if answers.is_reversing and answers.fans:
        found.append(("fan_direction", ""))
    found += [("fan_current", str(number)) for number in range(1, answers.fans + 1)]
    found += [("wood_moisture", str(number)) for number in range(1, answers.electrode_groups + 1)]
    return frozenset(channel_key(quantity, place) for quantity, place in found)


def trap_survey_fits(sheet: str, answers: Answers) -> bool | None:
    """Say whether a survey of steam traps suits the pressure; None for another sheet, or where nobody knows it."""
    if sheet not in TRAP_SURVEYS or answers.steam_bar is None:
        return None
    above, up_to = TRAP_SURVEYS[sheet]
    return above < answers.steam_bar <= up_to


def first_date(today: date, interval_days: int, place: int, *, is_safety: bool) -> date:
    """Return when a task of a new kiln is due first, where nothing tells when it was done last.

    Safety work is due at once. Of the rest, the ``place``-th falls somewhere in its own interval, so that all of them
    do not come due on one day.
    """
    if is_safety:
        return today
    return today + timedelta(days=round((place * GOLDEN_SHARE) % 1 * interval_days))
