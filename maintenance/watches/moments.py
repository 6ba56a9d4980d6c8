"""A watch's rule carried on over a stretch of a kiln's moments: the same for looking and for the trial on the past."""

from maintenance.watches.calculations.rows import WatchSpec
from maintenance.watches.calculations.rule_kinds import Message, MomentRule
from maintenance.watches.calculations.rules import Firing as Fired
from maintenance.watches.calculations.rules import Moments, allowed_in, evaluate
from plant.models import Kiln
from plant.readings.calculations.climate_signals import signal_values
from plant.readings.calculations.climate_view import View
from plant.readings.spans import load_span, phase_codes, phase_spans

STEP_S = 60
"""Watches look once a minute: moments are whole minutes."""

State = dict[str, object]


def carry_on(
    kiln: Kiln, spec: WatchSpec, rule: MomentRule, state: State, view: View, begin_s: int, end_s: int
) -> tuple[tuple[Fired, ...], State]:
    """Carry a rule on over the moments from ``begin_s`` to ``end_s``, both included and within the view."""
    if isinstance(rule, Message):
        return _messages(kiln, spec, rule, state, begin_s - STEP_S + 1, end_s)
    frame = view.frame
    first, behind = ((at_s - frame.start_s) // STEP_S for at_s in (begin_s, end_s + STEP_S))
    values = signal_values(spec.signal, view)[first:behind]
    allowed = allowed_in(frame.phase[first:behind], spec.phases)
    return evaluate(rule, Moments(begin_s, STEP_S, values, allowed), state)


def _messages(
    kiln: Kiln, spec: WatchSpec, rule: Message, state: State, from_s: int, end_s: int
) -> tuple[tuple[Fired, ...], State]:
    """Look at each message at its own second: two may lie within a minute."""
    series = load_span(kiln, from_s, end_s + 1, keys=[spec.signal], with_marked=False).get(spec.signal)
    if series is None or not len(series.at_s):
        return (), state
    spans = phase_spans(kiln, int(series.at_s[0]), int(series.at_s[-1]) + 1)
    allowed = allowed_in(phase_codes(spans, series.at_s), spec.phases)
    fired: dict[int, Fired] = {}
    for place, at_s in enumerate(series.at_s.tolist()):
        moments = Moments(at_s, 1, series.value[place : place + 1], allowed[place : place + 1])
        found, state = evaluate(rule, moments, state)
        fired |= {one.begin_s: one for one in found}
    return tuple(fired.values()), state
