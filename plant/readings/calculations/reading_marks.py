"""Which readings no rule may rest on, and why: worked out over whole arrays, without changing a value.

Every rule looks only so far to both sides of a reading (`reach_s`). So the marks of a span are the same whether its
readings came at once, one by one, late or out of order, as long as it is marked again with that much around it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plant.physics.psychrometrics import STANDARD_PRESSURE_PA, is_possible_pair
from plant.physics.quantities import QUANTITIES, Quantity
from plant.readings.calculations.climate_frame import Values

Instants = NDArray[np.int64]
Marks = NDArray[np.int16]

# The same bits as plant.models.Reading.Mark; a test holds both equal.
OUT_OF_RANGE: Final = 1
NO_SUCH_AIR: Final = 2
STANDS_STILL: Final = 4
JUMP: Final = 8
AFTER_GAP: Final = 16

CLASS_B_K, CLASS_B_PER_K = 0.30, 0.005
"""What a sound industrial thermometer may be off: 0.30 K + 0.005 |t| (IEC 60751, class B)."""

NOISE_K: Final = 0.3
"""What the noise of two readings may add. Our own choice."""

MOST_IN_A_JUMP: Final = 3
"""So many readings in a row may be away before it is called a change and no longer a jump. Our own choice."""

LAST_DIGIT: Final = 0.1
"""Two values that differ by no more are neighbours, K or points: what loggers and controllers round to."""
FLICKER_EVERY_S: Final = 600
"""A channel that is read more seldom may keep to two values by chance. Our own choice."""

GAP_STEPS: Final = 4
LEAST_GAP_S: Final = 300
"""A gap is longer than 4 readings should take, and than 5 minutes. Our own choice."""

TOLD_ON_CHANGE: Final = frozenset(
    {
        "set_air_temperature",
        "set_wet_bulb",
        "set_relative_humidity",
        "set_emc",
        "fan_direction",
        "door_open",
        "message",
    }
)
"""What many controllers tell only when it changes: silence is no gap there."""


@dataclass(frozen=True, slots=True)
class Track:
    """The readings of one channel: ``at_s`` seconds since 1970, ascending, no second twice; ``value`` in its unit."""

    quantity: str
    place: str
    every_s: int
    at_s: Instants
    value: Values


def gap_s(every_s: int) -> int:
    """Return after how many seconds without a reading a channel that should have one every ``every_s`` has a gap."""
    return max(GAP_STEPS * every_s, LEAST_GAP_S)


def reach_s(quantity: str, every_s: int) -> int:
    """Return how far, in seconds, a reading can bear upon the marks of others of its channel."""
    gap = gap_s(every_s)
    known = QUANTITIES[quantity]
    still_h = max(known.still_h or 0.0, known.flicker_h or 0.0)
    # A jump is judged by up to MOST_IN_A_JUMP + 1 readings on either side, each at most a gap apart; a row that stands
    # still by readings as far off as it must last, and the next one beyond.
    return max((MOST_IN_A_JUMP + 1) * gap, int(still_h * 3600) + gap)


def out_of_range(quantity: str, value: Values) -> Marks:
    """Mark what no sensor for a quantity can truly read; shape (n,)."""
    known = QUANTITIES[quantity]
    return _bit((value < known.low) | (value > known.high), OUT_OF_RANGE)


def mark(
    tracks: Mapping[str, Track],
    running_s: Sequence[tuple[int, int]],
    pressure_pa: float = STANDARD_PRESSURE_PA,
) -> dict[str, Marks]:
    """Mark the readings of one kiln.

    Parameters
    ----------
    tracks : Mapping[str, Track]
        The channels by their keys.
    running_s : Sequence[tuple[int, int]]
        Spans in which the kiln runs (doors closed, fans turning), in seconds since 1970, ascending, apart; the end is
        not part of a span.
    pressure_pa : float
        Usual air pressure at the mill's height.

    Returns
    -------
    dict[str, Marks]
        For each channel shape (n,), int16, the reasons as bits; 0 for a reading that can be trusted.
    """
    marks = {key: _alone(track, running_s) for key, track in tracks.items()}
    wets = {key: track for key, track in tracks.items() if track.quantity == "wet_bulb"}
    dries = {key: track for key, track in tracks.items() if track.quantity == "air_temperature"}
    for key, wet in wets.items():
        beside = {name: dry for name, dry in dries.items() if dry.place == wet.place}
        _mark_pairs(key, wet, beside or dries, marks, pressure_pa)
    return marks


def _bit(where: NDArray[np.bool_], bit: int) -> Marks:
    return where.astype(np.int16) * np.int16(bit)


def _alone(track: Track, running_s: Sequence[tuple[int, int]]) -> Marks:
    """Apply the rules that look at one channel only."""
    known = QUANTITIES[track.quantity]
    marks = out_of_range(track.quantity, track.value)
    if known.still_h is not None:
        marks |= _bit(_stands_still(track, int(known.still_h * 3600), running_s), STANDS_STILL)
    if known.flicker_h is not None and track.every_s <= FLICKER_EVERY_S:
        marks |= _bit(_flickers(track, int(known.flicker_h * 3600), running_s), STANDS_STILL)
    if known.jump_per_minute is not None:
        # A neighbour that is impossible says nothing about a reading.
        sound = np.flatnonzero(marks & OUT_OF_RANGE == 0)
        marks[sound] |= _bit(_jumps(track.at_s[sound], track.value[sound], known, gap_s(track.every_s)), JUMP)
    if track.quantity not in TOLD_ON_CHANGE:
        is_first = np.diff(track.at_s, prepend=track.at_s[:1] - gap_s(track.every_s) - 1) > gap_s(track.every_s)
        marks |= _bit(is_first, AFTER_GAP)
    return marks


def _stands_still(track: Track, longest_s: int, running_s: Sequence[tuple[int, int]]) -> NDArray[np.bool_]:
    """Find readings of a value that stays the very same for ``longest_s`` or longer while the kiln runs on."""
    at_s, value = track.at_s, track.value
    if not len(at_s):
        return np.zeros(0, bool)
    run = _span_of(at_s, running_s)
    is_new = np.ones(len(at_s), bool)
    # Silence is no standing still: what follows a gap begins a row of its own.
    is_new[1:] = (value[1:] != value[:-1]) | (run[1:] != run[:-1]) | (np.diff(at_s) > gap_s(track.every_s))
    first = np.flatnonzero(is_new)
    last = np.append(first[1:], len(at_s)) - 1
    is_still = (at_s[last] - at_s[first] >= longest_s) & (run[first] >= 0)
    return np.repeat(is_still, last - first + 1)


def _flickers(track: Track, longest_s: int, running_s: Sequence[tuple[int, int]]) -> NDArray[np.bool_]:
    """Find readings that go to and fro between two neighbouring values for ``longest_s`` or longer in a running kiln.

    That is a stuck sensor whose last digit flickers: live air takes a third value within hours.
    """
    at_s, value = track.at_s, track.value
    found = np.zeros(len(at_s), bool)
    if len(at_s) < 2:
        return found
    run = _span_of(at_s, running_s)
    is_apart = (run[1:] != run[:-1]) | (np.diff(at_s) > gap_s(track.every_s))
    first = np.flatnonzero(np.append(True, (value[1:] != value[:-1]) | is_apart))
    last = np.append(first[1:], len(at_s)) - 1
    told = value[first]
    # Rows of one value: which follows the one before it by a last digit, and which returns to the one before that.
    is_next = np.zeros(len(first), bool)
    is_next[1:] = (np.abs(told[1:] - told[:-1]) <= LAST_DIGIT * (1 + 1e-6)) & ~is_apart[first[1:] - 1]
    is_back = is_next.copy()
    is_back[:2] = False
    is_back[2:] &= is_next[1:-1] & (told[2:] == told[:-2])
    begins = np.flatnonzero(is_next & ~is_back)
    # Each stretch of two values begins a row before the first that follows, and lasts as long as rows return.
    ends = np.append(np.flatnonzero(~is_back), len(first))
    for row in begins:
        until = int(last[ends[np.searchsorted(ends, row, side="right")] - 1])
        begin = int(first[row - 1])
        if run[begin] >= 0 and at_s[until] - at_s[begin] >= longest_s:
            found[begin : until + 1] = True
    return found


def _span_of(at_s: Instants, spans_s: Sequence[tuple[int, int]]) -> NDArray[np.int64]:
    """Return for each instant the number of the span it lies in, -1 for none."""
    if not spans_s:
        return np.full(len(at_s), -1, np.int64)
    begins, ends = np.array(spans_s, np.int64).T
    number = np.searchsorted(begins, at_s, side="right").astype(np.int64) - 1
    return np.where((number >= 0) & (at_s < ends[np.maximum(number, 0)]), number, -1)


def _jumps(at_s: Instants, value: Values, known: Quantity, gap: int) -> NDArray[np.bool_]:
    """Find short rows of readings that lie beyond both neighbours on the same side, farther than the air can change."""
    is_jump = np.zeros(len(at_s), bool)
    step_s = np.diff(at_s)
    # What wanders spreads with the root of time, so that slower sampling is not allowed five times as much.
    limit = (known.jump_per_minute or 0.0) * np.sqrt(np.maximum(step_s, 60) / 60)
    change = np.diff(value)
    for length in range(1, MOST_IN_A_JUMP + 1):
        count = len(at_s) - length - 1
        if count <= 0:
            break
        away, back = change[:count], change[length : length + count]
        leaves = (np.abs(away) > limit[:count]) & (np.abs(back) > limit[length : length + count])
        returns = np.abs(value[length + 1 :] - value[:count]) <= np.minimum(np.abs(away), np.abs(back)) / 2
        whole = np.ones(count, bool)
        for inside in range(length + 1):
            whole &= step_s[inside : inside + count] <= gap
        for inside in range(1, length):
            # Those in between stay away as well: at least half as far as the first.
            whole &= (value[1 + inside : 1 + inside + count] - value[:count]) * np.sign(away) > np.abs(away) / 2
        found = np.flatnonzero(leaves & (np.sign(away) != np.sign(back)) & returns & whole)
        for inside in range(1, length + 1):
            is_jump[found + inside] = True
    return is_jump


def _mark_pairs(key: str, wet: Track, dries: Mapping[str, Track], marks: dict[str, Marks], pressure_pa: float) -> None:
    """Mark a wet bulb's readings, and the dry bulbs' at that moment, where no air has them together.

    Of several dry bulbs without a side in common with the wet bulb nobody knows which one is its own: then only what
    is impossible with each of them is marked.
    """
    partners = []
    is_paired = np.zeros(len(wet.at_s), bool)
    is_possible = np.zeros(len(wet.at_s), bool)
    for name, dry in dries.items():
        nearest, is_near = _nearest(wet, dry)
        if len(dry.at_s):
            # A cable that is broken says nothing about the other bulb.
            is_near &= (marks[key] | marks[name][nearest]) & OUT_OF_RANGE == 0
        partners.append((name, nearest, is_near))
        is_paired |= is_near
        at = np.flatnonzero(is_near)
        is_possible[at] |= _can_be(dry.value[nearest[at]], wet.value[at], pressure_pa)
    is_wrong = is_paired & ~is_possible
    marks[key] |= _bit(is_wrong, NO_SUCH_AIR)
    for name, nearest, is_near in partners:
        marks[name][nearest[is_wrong & is_near]] |= NO_SUCH_AIR


def _can_be(dry_c: Values, wet_c: Values, pressure_pa: float) -> NDArray[np.bool_]:
    """Say for each pair whether some air has it, give or take what two sound sensors may part by.

    Without that, the readings of a kiln full of steam, or of a wick that has dried out, would be marked by the toss of
    their noise, and no watch could rest on them.
    """
    apart_k = 2 * (CLASS_B_K + CLASS_B_PER_K * np.abs(dry_c)) + NOISE_K
    is_possible = np.zeros(len(dry_c), bool)
    for part in (0.0, 1.0, -1.0):
        left = np.flatnonzero(~is_possible & (wet_c <= dry_c + apart_k))
        shown = wet_c[left] + part * apart_k[left]
        is_possible[left] = is_possible_pair(dry_c[left], np.minimum(shown, dry_c[left]), pressure_pa)
    return is_possible


def _nearest(wet: Track, dry: Track) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Return for each reading of the wet bulb the number of the dry bulb's nearest, and whether it is near enough."""
    if not len(dry.at_s) or not len(wet.at_s):
        return np.zeros(len(wet.at_s), np.int64), np.zeros(len(wet.at_s), bool)
    after = np.minimum(np.searchsorted(dry.at_s, wet.at_s), len(dry.at_s) - 1)
    before = np.maximum(after - 1, 0)
    is_before_nearer = np.abs(wet.at_s - dry.at_s[before]) <= np.abs(dry.at_s[after] - wet.at_s)
    nearest = np.where(is_before_nearer, before, after).astype(np.int64)
    near_s = max(60, dry.every_s, wet.every_s)
    return nearest, np.abs(dry.at_s[nearest] - wet.at_s) <= near_s
