"""How planned charges of one kiln give way to others: later by what is needed, free time before them used up first."""

from collections.abc import Callable, Sequence
from datetime import datetime

from plant.charges.calculations.told import ChargeTimes, up_to_minute


def give_way(
    planned: Sequence[ChargeTimes],
    fixed: Sequence[ChargeTimes] = (),
    *,
    free_at: datetime | None = None,
    fit: Callable[[datetime], datetime] | None = None,
) -> list[ChargeTimes]:
    """Return the times of planned charges so that no two share the kiln.

    Parameters
    ----------
    planned : Sequence[ChargeTimes]
        In the order in which they are to be dried, with the times at which they are wanted.
    fixed : Sequence[ChargeTimes]
        Those that stay where they are, whatever comes; in any order.
    free_at : datetime or None
        Before this none of ``planned`` begins.
    fit : callable or None
        Turns an instant into the first one from there on at which a charge may begin. It is asked of charges that
        must move alone.

    Notes
    -----
    None is drawn forward, none changes its length, and the order is kept. Who moves begins on a whole minute.
    """
    taken = sorted(fixed, key=lambda one: one.begin_at)
    found = []
    for times in planned:
        wanted_at = up_to_minute(free_at) if free_at is not None and free_at > times.begin_at else times.begin_at
        moved = times.later(_first_free(times, wanted_at, taken, fit) - times.begin_at)
        found.append(moved)
        free_at = moved.end_at
    return found


def _first_free(
    times: ChargeTimes, at: datetime, taken: Sequence[ChargeTimes], fit: Callable[[datetime], datetime] | None
) -> datetime:
    length = times.end_at - times.begin_at
    while True:
        was_at = at
        for one in taken:
            if one.begin_at < at + length and one.end_at > at:
                at = up_to_minute(one.end_at)
        if fit is not None and at != times.begin_at:
            at = fit(at)
        if at == was_at:
            return at
