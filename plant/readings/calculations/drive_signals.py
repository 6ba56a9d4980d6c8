"""Derived figures of fans and electrodes, and silence."""

from collections.abc import Callable
from typing import Final

import numpy as np

from plant.readings.calculations.climate_frame import Values
from plant.readings.calculations.climate_view import (
    BOTH_WAYS_LEAST_MINUTES,
    BOTH_WAYS_MINUTES,
    LEAST_RUNNING_A,
    Mask,
    View,
    gated,
    mean_of,
    mean_of_last,
)
from plant.readings.calculations.reading_marks import TOLD_ON_CHANGE

FAN_START_MINUTES: Final = 5
STEADY_MINUTES, JUMP_MINUTES = 60, 60
LONGEST_MINUTES: Final = 24 * 60
"""What counts minutes stops here."""
LEAST_SPEED_SHARE: Final = 0.6
"""Below this share of full speed a motor's current says little of the fan."""


def fan_share(view: View, place: str) -> Values:
    """Compare a fan's current with the mean of its mates at the same moment: air, speed and direction are the same."""
    own = view.at("fan_current", place)
    mates = mean_of([view.at("fan_current", other) for other in view.places("fan_current") if other != place], view)
    runs = view.steps_same_way > view.steps(FAN_START_MINUTES)
    return gated(100 * own / np.maximum(mates, LEAST_RUNNING_A), runs & (mates >= LEAST_RUNNING_A))


def lone_fan_current(view: View, place: str) -> Values:
    """Take the current of the only fan while the controller says that it turns."""
    return gated(view.at("fan_current", place), view.steps_same_way > view.steps(FAN_START_MINUTES))


def fan_of_usual(view: View, place: str) -> Values:
    """Compare a fan's current with its own usual one in this direction."""
    left, right = view.usual.fan_current_a.get(place, (np.nan, np.nan))
    usual = np.where(view.turned > 0, left, right)
    return gated(100 * at_full_speed(view, view.at("fan_current", place)) / usual, view.is_settled)


def at_full_speed(view: View, current: Values) -> Values:
    """Return a fan's current as it would be at full speed: torque, and about so the current, follows its square."""
    if not view.places("fan_speed"):
        return current
    share = view.mean("fan_speed") / 100
    return np.where(share >= LEAST_SPEED_SHARE, current / np.maximum(share, LEAST_SPEED_SHARE) ** 2, np.nan)


def fan_share_steady(view: View, place: str) -> Values:
    return view.smooth(fan_share(view, place), STEADY_MINUTES)


def fan_both_ways(view: View, place: str) -> Values:
    """Compare a fan's current in the one direction with that in the other, over half a day."""
    count, least = view.steps(BOTH_WAYS_MINUTES), view.steps(BOTH_WAYS_LEAST_MINUTES)
    own = fan_share(view, place) if len(view.places("fan_current")) > 1 else view.at("fan_current", place)
    known = np.isfinite(own)
    one, other = (mean_of_last(own, known & view.is_way(way), count, least) for way in (1.0, -1.0))
    return gated(100 * one / np.where(other > 0, other, np.nan), view.is_settled)


def since_turned(view: View, _place: str) -> Values:
    minutes = view.steps_same_way * (view.frame.step_s / 60)
    return gated(np.minimum(minutes, LONGEST_MINUTES), view.is_running)


# Electrodes and silence.


def step_change(view: View, place: str) -> Values:
    """Take the size of the change since the moment before."""
    own = view.at("wood_moisture", place)
    changed = np.full(len(own), np.nan)
    changed[1:] = np.abs(own[1:] - own[:-1])
    return changed


def jump(view: View, place: str) -> Values:
    """Compare the mean of the last hour with that of the hour before, in percent of it.

    What the other electrodes did as well is drying; of an electrode that stands while the others jump nothing is said.
    """
    own = view.smooth_at("wood_moisture", place, JUMP_MINUTES)
    change = 100 * (own / view.ago(own, JUMP_MINUTES) - 1)
    others = [other for other in view.places("wood_moisture") if other != place]
    if not others:
        return change
    if len(others) == 1:
        mates = view.smooth_at("wood_moisture", others[0], JUMP_MINUTES)
    else:
        mates = view.smooth(mean_of([view.at("wood_moisture", other) for other in others], view), JUMP_MINUTES)
    share = own / mates
    against = 100 * (share / view.ago(share, JUMP_MINUTES) - 1)
    return np.where(np.abs(against) < np.abs(change), against, change)


def minus_mates(view: View, place: str) -> Values:
    others = [view.at("wood_moisture", other) for other in view.places("wood_moisture") if other != place]
    return view.at("wood_moisture", place) - mean_of(others, view)


def silence(quantity: str) -> Callable[[View, str], Values]:
    """Make a signal that is 1 where a channel has no usable reading, 0 where it has; NaN while all is silent."""

    def compute(view: View, place: str) -> Values:
        is_missing = np.where(np.isfinite(view.at(quantity, place)), 0.0, 1.0)
        return gated(is_missing, view.keep_mask("heard", lambda: heard(view)))

    return compute


def heard(view: View) -> Mask:
    told = view.frame.values
    # What is told only when it changes holds for a day: it says nothing of silence.
    steady = [values for key, values in told.items() if key.partition(":")[0] not in TOLD_ON_CHANGE]
    heard = np.zeros(len(view), dtype=np.bool_)
    for values in steady or told.values():
        heard |= np.isfinite(values)
        if heard.all():
            break
    return heard


def data_age(view: View, _place: str) -> Values:
    """Count the minutes since any channel of the kiln was heard."""

    def silent() -> Mask:
        return ~view.keep_mask("heard", lambda: heard(view))

    minutes = view.minutes_true("silent", silent) * (view.frame.step_s / 60)
    return np.asarray(np.minimum(minutes, LONGEST_MINUTES))
