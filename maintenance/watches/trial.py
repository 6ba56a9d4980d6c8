"""A watch tried on the past: what it would have raised, what of that was right, and what it would have missed."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from django.db.models import Q

from maintenance.models import Watch
from maintenance.watches.calculations.charge_rules import Seen, seen_in_charges
from maintenance.watches.calculations.drift_charts import Drift
from maintenance.watches.calculations.rows import WatchSpec
from maintenance.watches.calculations.rules import Firing as Fired
from maintenance.watches.calculations.rules import allowed_in, joined
from maintenance.watches.calculations.trends import Trend
from maintenance.watches.firing_data import keys_used
from maintenance.watches.looking import CHARGES_BACK_S
from maintenance.watches.moments import STEP_S, State, carry_on
from maintenance.watches.specs import spec_of
from maintenance.watches.verdicts import FOUND_BEFORE, PROVES_WITHIN, defects_about, speaks_for
from maintenance.watches.words import heard_of, sentence
from plant import clock
from plant.basics.periods import from_epoch_s, to_epoch_s
from plant.basics.sentences import Sentence
from plant.models import Charge, Downtime
from plant.readings.calculations.climate_signals import lookback_minutes, signal_values
from plant.readings.calculations.climate_view import View
from plant.readings.charge_figures import figures_until, last_readings_s, usual_of
from plant.readings.spans import load_frame

DAYS = 90
DAY_S = 86_400
PORTION_S = 14 * DAY_S


@dataclass(frozen=True, slots=True)
class TrialFiring:
    """What the watch would have raised; right where a defect or stop of the suspect was on record about then."""

    begin_at: datetime
    end_at: datetime | None
    worst: float
    sentence: Sentence
    is_right: bool
    proof: str


@dataclass(frozen=True, slots=True)
class Missed:
    """A defect or stop of the suspect that the watch would not have announced."""

    at: datetime
    what: str


@dataclass(frozen=True, slots=True)
class TrialResult:
    """What came of a trial.

    ``known_share`` is the share of the moments in the watch's phases at which it knew what it looks at (of a watch on
    figures: of the charges), None where there was no such moment. ``work_orders`` counts what fires while the work of
    an earlier firing would have been open once.
    """

    from_at: datetime
    until_at: datetime
    known_share: float | None
    raised: tuple[TrialFiring, ...]
    work_orders: int
    missed: tuple[Missed, ...]

    @property
    def days(self) -> int:
        """How many days it looked at."""
        return round((self.until_at - self.from_at) / timedelta(days=1))

    @property
    def right(self) -> int:
        """How many of its firings were right."""
        return sum(firing.is_right for firing in self.raised)


@dataclass(frozen=True, slots=True)
class _Trouble:
    """Something on record that shows a firing to be right."""

    at: datetime
    what: str
    # Whether it is known what it was: else nobody can say that a watch should have heard it.
    is_named: bool


def try_on_past(
    watch: Watch, *, spec: WatchSpec | None = None, days: int = DAYS, until: datetime | None = None
) -> TrialResult:
    """Try a watch on its kiln's readings of the last days; nothing is stored and nothing raised.

    ``spec`` gives other numbers than the watch's own (the same kiln and suspect): what somebody is about to save. The
    trial ends with the last reading, or at ``until``.
    """
    spec = spec or spec_of(watch)
    until_s = to_epoch_s(until or clock.now()) // STEP_S * STEP_S
    heard = last_readings_s(watch.kiln, until_s + 1)
    if heard and until is None:
        until_s = max(heard.values()) // STEP_S * STEP_S
    from_s = until_s - days * DAY_S
    if isinstance(spec.rule, Drift | Trend):
        seen, known_share = _over_charges(watch, spec, from_s, until_s)
    else:
        seen, known_share = _over_moments(watch, spec, from_s, until_s)
    troubles = _troubles(watch, from_epoch_s(from_s), from_epoch_s(until_s))
    raised = tuple(_judged(watch, spec, one, troubles) for one in seen)
    return TrialResult(
        from_at=from_epoch_s(from_s),
        until_at=from_epoch_s(until_s),
        known_share=known_share,
        raised=raised,
        work_orders=_work_orders(watch, raised),
        missed=tuple(_missed(raised, troubles)),
    )


def _over_moments(watch: Watch, spec: WatchSpec, from_s: int, until_s: int) -> tuple[list[Seen], float | None]:
    """Look over all moments, a fortnight of them at a time."""
    if isinstance(spec.rule, Drift | Trend):
        raise TypeError(f"{spec.rule_name} looks at charges")
    keys, lookback_s = keys_used(spec, watch.kiln), lookback_minutes(spec.signal) * 60
    usual = usual_of(watch.kiln, until_s)
    state: State = {}
    stretches: list[Sequence[Fired]] = []
    known = wanted = 0
    for begin_s in range(from_s + STEP_S, until_s + 1, PORTION_S):
        end_s = min(begin_s + PORTION_S - STEP_S, until_s)
        view = View(load_frame(watch.kiln, begin_s - lookback_s, end_s + STEP_S, keys=keys), usual)
        fired, state = carry_on(watch.kiln, spec, spec.rule, state, view, begin_s, end_s)
        stretches.append(fired)
        skip = lookback_s // STEP_S
        allowed = allowed_in(view.frame.phase[skip:], spec.phases)
        is_known = np.isfinite(signal_values(spec.signal, view)[skip:])
        known, wanted = known + int((is_known & allowed).sum()), wanted + int(allowed.sum())
    seen = [Seen(one.since_s, one.begin_s, one.end_s, one.worst) for one in joined(stretches)]
    return seen, known / wanted if wanted else None


def _over_charges(watch: Watch, spec: WatchSpec, from_s: int, until_s: int) -> tuple[list[Seen], float | None]:
    """Look over the charges that ran in the span; those before tell what is usual."""
    if not isinstance(spec.rule, Drift | Trend):
        raise TypeError(f"{spec.rule_name} looks at moments")
    figures = figures_until(watch.kiln, spec.signal, until_s - CHARGES_BACK_S, until_s)
    seen = seen_in_charges(spec.rule, [one[0] for one in figures], [one[1] for one in figures])
    charges = Charge.objects.filter(
        kiln=watch.kiln, basis=Charge.Basis.DONE, end_at__gt=from_epoch_s(from_s), end_at__lte=from_epoch_s(until_s)
    ).count()
    known = sum(1 for ran_s, _value, _number in figures if ran_s > from_s)
    inside = [one for one in seen if one.begin_s > from_s or one.end_s is None or one.end_s > from_s]
    return inside, min(known / charges, 1.0) if charges else None


def _troubles(watch: Watch, from_at: datetime, until_at: datetime) -> list[_Trouble]:
    """Return what is on record of the suspect: defects that the watch could hear, and stops."""
    begin_at, end_at = from_at - FOUND_BEFORE, until_at + PROVES_WITHIN
    modes = watch.failure_modes
    found = [
        _Trouble(defect.found_at, defect.what, defect.failure_mode is not None)
        for defect in defects_about(watch).filter(found_at__gte=begin_at, found_at__lte=end_at)
        if speaks_for(defect, modes)
    ]
    own = Q(component=watch.component_id) if watch.component_id else Q(component__kind=watch.component_kind_id)
    stops = Downtime.objects.filter(own, kiln=watch.kiln_id, kind=Downtime.Kind.UNPLANNED, component__isnull=False)
    for stop in stops.filter(start_at__gte=begin_at, start_at__lte=end_at).select_related("failure_mode", "component"):
        if stop.failure_mode is None or not modes or stop.failure_mode.code in modes:
            what = stop.cause or str(stop.failure_mode or stop.component)
            found.append(_Trouble(stop.start_at, what, stop.failure_mode is not None))
    return sorted(found, key=lambda trouble: trouble.at)


def _judged(watch: Watch, spec: WatchSpec, seen: Seen, troubles: Sequence[_Trouble]) -> TrialFiring:
    begin_at = from_epoch_s(seen.begin_s)
    end_at = from_epoch_s(seen.end_s) if seen.end_s is not None else None
    proof = next((trouble.what for trouble in troubles if _proves(trouble, begin_at, end_at)), "")
    said = sentence(spec, heard_of(seen, watch.kiln.mill))
    return TrialFiring(begin_at, end_at, seen.worst, said, bool(proof), proof)


def _proves(trouble: _Trouble, begin_at: datetime, end_at: datetime | None) -> bool:
    return begin_at - FOUND_BEFORE <= trouble.at and (end_at is None or trouble.at <= end_at + PROVES_WITHIN)


def _work_orders(watch: Watch, raised: Iterable[TrialFiring]) -> int:
    """Count the occasions: while the work of one is open, taken to be done when it is due, others join it."""
    count, open_until = 0, None
    for firing in raised:
        if open_until is None or firing.begin_at > open_until:
            count += 1
            open_until = firing.begin_at + timedelta(days=watch.due_days)
    return count


def _missed(raised: Sequence[TrialFiring], troubles: Iterable[_Trouble]) -> Iterable[Missed]:
    """Return what no firing announced; of trouble without a failure mode nobody knows whether it could be heard."""
    for trouble in troubles:
        if trouble.is_named and not any(_proves(trouble, one.begin_at, one.end_at) for one in raised):
            yield Missed(trouble.at, trouble.what)
