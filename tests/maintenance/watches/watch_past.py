"""All watches of a kiln over a long past at once, block by block, so that what is worked on stays in fast memory."""

from collections.abc import Mapping, Sequence
from typing import Final

from maintenance.watches.calculations.drift_charts import Drift
from maintenance.watches.calculations.rows import WatchSpec
from maintenance.watches.calculations.rules import Firing, Moments, allowed_in, evaluate, joined
from maintenance.watches.calculations.trends import Trend
from plant.readings.calculations.climate_frame import Frame
from plant.readings.calculations.climate_signals import lookback_minutes, signal_values
from plant.readings.calculations.climate_view import Usual, View

BLOCK: Final = 16_384
"""Moments in a block. Ours: what a signal takes of so many fits into fast memory, and the blocks are still few."""


def fired_over(
    specs: Sequence[WatchSpec], frame: Frame, usual: Usual | None = None, block: int = BLOCK
) -> dict[str, tuple[Firing, ...]]:
    """Find what watches on moments would have raised; those on figures of charges are left out.

    Parameters
    ----------
    specs : Sequence[WatchSpec]
        Of one kiln (`for_kiln`).
    frame : Frame
        The past, as long as it may be.
    usual : Usual, optional
        What is usual for the kiln.
    block : int
        Moments that are looked at together, at least 1; it changes the time this takes and nothing else.

    Returns
    -------
    dict[str, tuple[Firing, ...]]
        By the watch's code.

    Raises
    ------
    ValueError
        If a block has less than one moment.
    """
    if block < 1:
        raise ValueError(f"block of {block} moments is below 1")
    looking = [spec for spec in specs if not spec.is_per_charge]
    states: dict[str, Mapping[str, object]] = {spec.code: {} for spec in looking}
    found: dict[str, list[tuple[Firing, ...]]] = {spec.code: [] for spec in looking}
    back = 1 + max((lookback_minutes(spec.signal) for spec in looking), default=0) * 60 // frame.step_s
    for first in range(0, len(frame), block):
        begin = max(0, first - back)
        part = _part(frame, begin, min(first + block, len(frame)))
        view, here = View(part, usual), slice(first - begin, None)
        start_s = frame.start_s + first * frame.step_s
        allowed = {phases: allowed_in(part.phase[here], phases) for phases in {spec.phases for spec in looking}}
        for spec in looking:
            if isinstance(spec.rule, Drift | Trend):
                continue
            moments = Moments(start_s, frame.step_s, signal_values(spec.signal, view)[here], allowed[spec.phases])
            firings, states[spec.code] = evaluate(spec.rule, moments, states[spec.code])
            found[spec.code].append(firings)
    return {code: joined(stretches) for code, stretches in found.items()}


def _part(frame: Frame, first: int, last: int) -> Frame:
    values = {key: value[first:last] for key, value in frame.values.items()}
    return Frame(frame.start_s + first * frame.step_s, frame.step_s, values, frame.phase[first:last], frame.pressure_pa)
