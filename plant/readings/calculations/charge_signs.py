"""What happens to a charge, recognised in its kiln's climate: heating begins, setting reached, cooling, door open.

A chamber is warm for many reasons. A sign needs what a warm day, an open door or a gap in the data cannot give: heat or
fans that are on, a set point that was raised, a rise above the outside air, or moisture that comes with it. What the
dry bulb says alone is told as such (``is_sure`` False). Limits are our own choice, tried on simulated kilns.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

import numpy as np

from plant.readings.calculations.charge_sign_frame import PER_H, Climate, Trust


class ChargeSign(StrEnum):
    """What the climate says of the charge in a kiln."""

    HEATING = "heating"
    SETTING = "setting"
    COOLING = "cooling"
    DOOR = "door"


class Says(StrEnum):
    """What speaks for a sign."""

    HEAT = "heat"
    FANS = "fans"
    SET = "set"
    OUTSIDE = "outside"
    MOIST = "moist"
    ALONE = "alone"
    GAP = "gap"
    SENSOR = "sensor"
    COOLED = "cooled"


@dataclass(frozen=True, slots=True)
class SeenSign:
    """One sign: when it began, when it was certain (seconds since 1970), the air then and there in °C, what says so."""

    sign: ChargeSign
    at_s: int
    seen_s: int
    from_c: float
    to_c: float
    says: tuple[Says, ...]

    @property
    def is_sure(self) -> bool:
        """Whether more than the temperature of the air says so."""
        return not {Says.ALONE, Says.MOIST, Says.GAP}.intersection(self.says)


# A rise. K, or K above the outside air.
LOOK_BACK_H: Final = 12
RISE_DRIVEN_K, RISE_SET_K, RISE_OUTSIDE_K, RISE_MOIST_K, RISE_ALONE_K = 5.0, 6.0, 8.0, 8.0, 15.0
# A frost guard keeps an empty chamber just above freezing; frozen timber is heated through there, towards a set point
# that no frost guard has.
LEAST_WARM_C: Final = 15.0
# Air that is warmed over wet timber stays moist; a warm day's dries.
LEAST_MOIST_C, MOISTER = 25.0, 2.0
QUICK_K: Final = 2.5
# No sun on the roof warms an empty chamber so far.
ALONE_C, ALONE_ABOVE_OUTSIDE_K = 45.0, 20.0
HOT_C: Final = 40.0
# The setting.
AT_SET_K, LEAST_SETTING_C, HELD_H = 1.5, 35.0, 0.5
LEVEL_K_PER_2H: Final = 1.0
# Cooling.
SET_DOWN_K, COOLED_K, COOLED_UNHEATED_K, COOLED_ALONE_K = 12.0, 4.0, 6.0, 12.0
# A door: a look through it takes less; before the charge has cooled nobody opens it for good in such a time.
OPEN_COOLED_H, OPEN_HOT_H = 0.25, 0.75
DOOR_EXCESS_K, DOOR_LOST = 12.0, 0.5
DOOR_FALL_K, DOOR_FASTER, DOOR_DRY = 3.0, 0.7, 0.78
COLD_C, COLD_H = 35.0, 2.0
GIVEN_UP_H: Final = 8
LONGEST_GAP_H: Final = 12


class _Stand(StrEnum):
    IDLE = "idle"
    HEATING = "heating"
    RUNNING = "running"
    COOLING = "cooling"


@dataclass(slots=True)
class _Walk:
    """Where a walk along the moments stands: since when, and since which moment the air is cold or the door open."""

    climate: Climate
    stand: _Stand = _Stand.IDLE
    since: int = 0
    last: int = -1
    is_entered: bool = False
    begun: int = 0
    found: list[SeenSign] = field(default_factory=list)


def charge_signs(climate: Climate) -> list[SeenSign]:
    """Find the signs in the climate of one kiln, in the order in which they became certain.

    Parameters
    ----------
    climate : Climate
        Moments of five minutes, oldest first. What a sign needs lies in the twelve hours before it; a kiln that is hot
        at the first moments is taken to run.
    """
    walk = _Walk(climate)
    for now in np.flatnonzero(np.isfinite(climate.air_c)):
        _step(walk, int(now))
    return walk.found


def _step(walk: _Walk, now: int) -> None:
    _cross_gap(walk, now)
    walk.last = now
    if walk.stand is not _Stand.IDLE and _door(walk, now):
        return
    match walk.stand:
        case _Stand.IDLE:
            _look_for_heating(walk, now)
        case _Stand.HEATING:
            if not _look_for_setting(walk, now) and not _look_for_cooling(walk, now):
                _look_for_given_up(walk, now)
        case _Stand.RUNNING:
            if not _look_for_cooling(walk, now):
                _look_for_cold(walk, now)
        case _Stand.COOLING:
            _look_for_cold(walk, now)


def _enter(walk: _Walk, stand: _Stand, now: int) -> None:
    walk.stand, walk.since = stand, now


def _cross_gap(walk: _Walk, now: int) -> None:
    """Take the kiln for what it is after a gap, and at the very first moment."""
    climate, air = walk.climate, walk.climate.air_c
    if walk.last >= 0 and climate.stretch[now] == climate.stretch[walk.last]:
        return
    is_hot = air[now] >= HOT_C
    if walk.last < 0:
        walk.begun = now
        _enter(walk, _Stand.RUNNING if is_hot else _Stand.IDLE, now)
        return
    was_idle, gap_h = walk.stand is _Stand.IDLE, (now - walk.last) / PER_H
    rise = air[now] - air[walk.last]
    if was_idle and is_hot and rise >= RISE_ALONE_K and gap_h <= LONGEST_GAP_H:
        found = (Says.GAP, *_on(climate, now))
        walk.found.append(_seen(climate, ChargeSign.HEATING, now, now, float(air[walk.last]), found))
        _enter(walk, _Stand.HEATING, now)
    elif gap_h > LONGEST_GAP_H or was_idle:
        _enter(walk, _Stand.RUNNING if is_hot else _Stand.IDLE, now)


def _on(climate: Climate, now: int) -> Iterator[Says]:
    if climate.is_mostly(Trust.HEAT, now, 0.5):
        yield Says.HEAT
    if climate.is_mostly(Trust.FANS, now, 0.5):
        yield Says.FANS


def _seen(climate: Climate, sign: ChargeSign, at: int, now: int, from_c: float, says: Sequence[Says]) -> SeenSign:
    air_c = round(float(climate.air_c[now]), 1)
    return SeenSign(sign, climate.second(at), climate.second(now), round(from_c, 1), air_c, tuple(says))


# Heating.


def _look_for_heating(walk: _Walk, now: int) -> None:
    climate = walk.climate
    if climate.was_open(now, 0.25):
        return
    first = max(int(climate.stretch[now]), now - LOOK_BACK_H * PER_H, walk.since)
    if now - first < PER_H // 4:
        return
    low = first + int(np.nanargmin(climate.air_c[first : now + 1]))
    rise = float(climate.air_c[now] - climate.air_c[low])
    is_meant = bool(climate.set_c[now] >= LEAST_SETTING_C)
    if rise < RISE_DRIVEN_K or (climate.air_c[now] < LEAST_WARM_C and not is_meant):
        return
    says = tuple(_heated(climate, low, now, rise))
    if not says:
        return
    at = _knee(climate, low, now)
    # What began before there were readings is no beginning that was seen.
    if at > walk.begun + PER_H or low > walk.begun:
        walk.found.append(_seen(climate, ChargeSign.HEATING, at, now, float(climate.air_c[at]), says))
    _enter(walk, _Stand.HEATING, at)


def _heated(climate: Climate, low: int, now: int, rise: float) -> Iterator[Says]:
    """Say what speaks for a rise being heated; nothing where something speaks against it."""
    has_heat, has_fans = climate.knows(Trust.HEAT, now), climate.knows(Trust.FANS, now)
    heat_on, fans_on = climate.is_mostly(Trust.HEAT, now, 0.5), climate.is_mostly(Trust.FANS, now, 0.5)
    if (has_fans and not fans_on) or (has_heat and not climate.ever(Trust.HEAT, low, now)):
        return
    air, out = climate.air_c, climate.outside_c
    since = max(low, min(climate.on_since(low, now) or low, now))
    above_k = float((air[now] - out[now]) - (air[since] - out[since]))
    set_up = bool(climate.set_c[now] >= air[low] + RISE_ALONE_K / 2)
    if has_heat and heat_on:
        yield Says.HEAT
    if set_up and rise >= RISE_SET_K and (fans_on or heat_on):
        yield Says.SET
    if fans_on and above_k >= RISE_OUTSIDE_K:
        yield Says.OUTSIDE
    ratio = climate.ratio
    is_moist = (
        bool(climate.is_moist[now] and ratio[now] >= MOISTER * ratio[low])
        and rise >= RISE_MOIST_K
        and air[now] >= LEAST_MOIST_C
    )
    is_above = bool(np.isnan(above_k)) or above_k >= RISE_OUTSIDE_K
    if is_moist and is_above:
        yield Says.MOIST
    if rise >= RISE_ALONE_K and air[now] >= np.nanmax([ALONE_C, out[now] + ALONE_ABOVE_OUTSIDE_K]):
        yield Says.ALONE


def _knee(climate: Climate, low: int, now: int) -> int:
    """Return where the rise begins in earnest: a morning's warmth before it is no heating."""
    driven = climate.on_since(low, now)
    if driven is not None:
        return max(driven, low)
    air, half = climate.air_c, PER_H // 2
    if now - low <= half:
        return low
    # Frozen timber holds the air back for hours, after a first rise that no sun gives.
    steps = air[low + half : now + 1] - air[low : now + 1 - half]
    quick = np.flatnonzero(steps >= QUICK_K)
    rate = float(air[now] - air[max(low, now - PER_H)]) / max(1, min(PER_H, now - low)) * half
    at = now
    while at - half >= low and not air[at] - air[at - half] < rate / 8:
        at -= 1
    slow = max(low, at - half)
    return min(slow, low + int(quick[0])) if len(quick) else slow


# The setting.


def _look_for_setting(walk: _Walk, now: int) -> bool:
    climate, air = walk.climate, walk.climate.air_c
    held = round(HELD_H * PER_H)
    begun = max(walk.since, int(climate.stretch[now]))
    if now - begun < held or climate.was_open(now, HELD_H) or air[now] < LEAST_SETTING_C:
        return False
    wanted = climate.set_c[now - held : now + 1]
    # A set point so low is left from the last cooling: it says nothing of this charge.
    if np.isfinite(wanted).all() and wanted[-1] >= LEAST_SETTING_C:
        # A set point that climbs with the air is not reached.
        is_firm = bool(np.ptp(wanted) <= 1.0)
        is_reached = is_firm and bool(np.all(climate.hot_c[now - held : now + 1] >= wanted - AT_SET_K))
        at, says = now - held, (Says.SET,)
    else:
        at = now - 2 * PER_H
        if at < begun:
            return False
        span = air[at : now + 1]
        is_reached = bool(np.nanmax(span) - np.nanmin(span) <= LEVEL_K_PER_2H * 2) and bool(
            abs(np.nanmean(span[-PER_H:]) - np.nanmean(span[:PER_H])) <= LEVEL_K_PER_2H
        )
        says = (Says.ALONE,)
    if not is_reached:
        return False
    walk.found.append(_seen(climate, ChargeSign.SETTING, at, now, float(air[walk.since]), says))
    _enter(walk, _Stand.RUNNING, now)
    return True


# Cooling.


def _look_for_cooling(walk: _Walk, now: int) -> bool:
    climate, air = walk.climate, walk.climate.air_c
    if climate.was_open(now, 0.5) or now - walk.since < PER_H:
        return False
    # How warm it ran is known over a gap as well.
    first = max(walk.since, now - LOOK_BACK_H * PER_H)
    level = climate.level(first, now)
    fallen = level - float(air[now])
    is_falling = bool(air[now] <= air[max(int(climate.stretch[now]), now - PER_H // 2)] - 0.3)
    if fallen < COOLED_K or not is_falling:
        return False
    says = _cooled(climate, first, now, level, fallen)
    if says is None:
        return False
    near = np.flatnonzero(air[first : now + 1] >= level - 2.0)
    at = first + (int(near[-1]) if len(near) else 0)
    walk.found.append(_seen(climate, ChargeSign.COOLING, at, now, level, says))
    _enter(walk, _Stand.COOLING, now)
    return True


def _cooled(climate: Climate, first: int, now: int, level: float, fallen: float) -> tuple[Says, ...] | None:
    """Say what speaks for a fall being a cooling that was ordered; None where it is a stop, or nobody knows."""
    has_fans, has_heat = climate.knows(Trust.FANS, now), climate.knows(Trust.HEAT, now)
    if has_fans and not climate.is_mostly(Trust.FANS, now, 0.5):
        return None
    if has_heat and climate.ever(Trust.HEAT, now - PER_H // 2, now):
        return None
    fans = (Says.FANS,) if has_fans else ()
    wanted = climate.set_c[now]
    if np.isfinite(wanted):
        return (Says.SET, *fans) if wanted <= level - SET_DOWN_K else None
    if has_fans and has_heat:
        is_off = not climate.ever(Trust.HEAT, now - PER_H, now)
        return (Says.HEAT, Says.FANS) if is_off and fallen >= COOLED_UNHEATED_K else None
    air = climate.air_c
    if now - max(first, climate.stretch[now]) < 2 * PER_H:
        return None
    hours_ago = air[max(first, now - 2 * PER_H)]
    fastest = np.nanmax(air[max(first, now - PER_H) : now + 1 - 3] - air[max(first, now - PER_H) + 3 : now + 1])
    if fallen < COOLED_ALONE_K or not air[now] <= hours_ago - 1 or fastest > DOOR_EXCESS_K / 2:
        return None
    return (*fans, Says.ALONE)


def _look_for_cold(walk: _Walk, now: int) -> None:
    """Let a kiln that is cold for hours be one that may be loaded anew, unless its doors say that nobody opened it."""
    climate = walk.climate
    first = now - round(COLD_H * PER_H)
    if climate.knows(Trust.DOOR, now) or first < max(walk.since, climate.stretch[now]):
        return
    if np.nanmax(climate.air_c[first : now + 1]) < COLD_C:
        _enter(walk, _Stand.IDLE, now)


def _look_for_given_up(walk: _Walk, now: int) -> None:
    """Let a heating that came to nothing be none any more: thawing timber keeps the air cold for hours too."""
    climate = walk.climate
    first = now - GIVEN_UP_H * PER_H
    if first < max(walk.since, climate.stretch[now]) or any(_on(climate, now)):
        return
    if np.nanmax(climate.air_c[first : now + 1]) < min(COLD_C, climate.air_c[walk.since] + RISE_DRIVEN_K):
        _enter(walk, _Stand.IDLE, now)


# The door.


def _door(walk: _Walk, now: int) -> bool:
    climate = walk.climate
    is_cooled = walk.stand is _Stand.COOLING or climate.air_c[now] < COLD_C
    if climate.knows(Trust.DOOR, now):
        at = climate.open_since(now)
        wanted_h = OPEN_COOLED_H if is_cooled else OPEN_HOT_H
        if at is None or (now - at) / PER_H < wanted_h:
            return False
        says = (Says.SENSOR, Says.COOLED) if is_cooled else (Says.SENSOR,)
    else:
        # With the fans on no door is opened.
        if climate.ever(Trust.FANS, now - 2, now):
            return False
        is_cooling = walk.stand is _Stand.COOLING
        found = _lost_its_moisture(walk, now) if is_cooling else None
        found = _lost_its_warmth(walk, now) if found is None else found
        if found is None:
            return False
        at, says = found, (Says.MOIST,) if is_cooling else (Says.ALONE,)
    walk.found.append(_seen(climate, ChargeSign.DOOR, at, now, float(climate.air_c[max(at - 1, 0)]), says))
    _enter(walk, _Stand.IDLE, now)
    return True


def _lost_its_moisture(walk: _Walk, now: int) -> int | None:
    """Return since when warmth and moisture have left a cooling chamber far faster than before."""
    climate, quick = walk.climate, PER_H // 3
    at, before = now - quick, now - 2 * quick
    if before < max(int(climate.stretch[now]), walk.since):
        return None
    air, ratio = climate.air_c, climate.ratio
    fallen, earlier = air[at] - air[now], air[before] - air[at]
    is_fast = bool(fallen >= DOOR_FALL_K and earlier <= DOOR_FASTER * fallen)
    is_dry = bool(ratio[now] <= DOOR_DRY * ratio[at] and ratio[now] / ratio[at] < ratio[at] / ratio[before])
    return at if is_fast and is_dry else None


def _lost_its_warmth(walk: _Walk, now: int) -> int | None:
    """Return since when the air has lost half of what it was above the outside, within a quarter of an hour."""
    climate = walk.climate
    held, quick = round(OPEN_HOT_H * PER_H), PER_H // 4
    before = now - held - quick
    if before < max(int(climate.stretch[now]), walk.since):
        return None
    out = np.where(np.isfinite(climate.outside_c), climate.outside_c, 15.0)
    excess = climate.air_c[before : now + 1] - out[before : now + 1]
    was = float(excess[0])
    if not was >= DOOR_EXCESS_K or not np.nanmax(excess[quick:]) <= DOOR_LOST * was:
        return None
    return before
