"""Rules that a watch applies to a signal, moment by moment: when they fire, and when what they saw is over.

A rule is carried on from one stretch of readings to the next by a state of a handful of numbers, so that it may be fed
moment by moment as readings come in, or once with a whole past; both give the same firings. A moment is *known* where
the signal has a value and the kiln is in a phase in which the rule makes sense; others neither feed nor end anything.

Times are whole seconds since 1970 (UTC).
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from maintenance.watches.calculations.rule_kinds import (
    Disagreement,
    KOfN,
    Limit,
    Message,
    MomentRule,
    NoData,
    RateOfChange,
    RunningSince,
)
from plant.readings.calculations.climate_frame import PHASE_CODES, Values
from plant.readings.calculations.climate_view import is_in_phases

Mask: TypeAlias = NDArray[np.bool_]
Indices: TypeAlias = NDArray[np.int64]
State: TypeAlias = Mapping[str, object]
"""What a rule carries on; JSON can keep it. Empty before the first moment."""


@dataclass(frozen=True, slots=True)
class Firing:
    """That a rule fired.

    Attributes
    ----------
    since_s : int
        First moment of what led to it.
    begin_s : int
        Moment at which it fired.
    end_s : int or None
        Moment at which it was over; None while it is not.
    worst : float
        The value furthest beyond the limit, in the signal's unit (per hour for a rate; minutes of silence for no
        data; hours or charges for running since; the number of a message).
    """

    since_s: int
    begin_s: int
    end_s: int | None
    worst: float


@dataclass(frozen=True, slots=True)
class Moments:
    """A stretch of a signal: moment ``i`` is ``start_s + i * step_s``; ``allowed`` is where the phase is right."""

    start_s: int
    step_s: int
    values: Values
    allowed: Mask


def allowed_in(phase: NDArray[np.int8], phases: Iterable[str]) -> Mask:
    """Return where the kiln is in one of the phases (names of `PHASE_CODES`); everywhere if none is named."""
    return is_in_phases(phase, tuple(phases) or tuple(PHASE_CODES))


def evaluate(rule: MomentRule, moments: Moments, state: State) -> tuple[tuple[Firing, ...], dict[str, object]]:
    """Carry a rule on over a stretch of moments.

    Parameters
    ----------
    rule : MomentRule
    moments : Moments
        The stretch that follows the one that left ``state`` behind; of any length, also one moment.
    state : State
        What the last call returned; empty at first.

    Returns
    -------
    firings : tuple[Firing, ...]
        All that were open at some moment of the stretch, also one that began before it, in order. One that goes on
        comes again with the next stretch, with the same ``begin_s``: what came last holds (`joined`).
    state : dict
        For the next call.
    """
    if not len(moments.values):
        return (), dict(state)
    match rule:
        case Limit() | Disagreement():
            return _limit(rule, moments, state)
        case KOfN():
            return _k_of_n(rule, moments, state)
        case RateOfChange():
            return _rate(rule, moments, state)
        case NoData():
            return _no_data(rule, moments, state)
        case Message():
            return _message(rule, moments, state)
        case RunningSince():
            return _running(rule, moments, state)


def joined(stretches: Iterable[Sequence[Firing]]) -> tuple[Firing, ...]:
    """Join the firings of successive stretches: of one that came several times the last report holds."""
    by_begin = {firing.begin_s: firing for firings in stretches for firing in firings}
    return tuple(by_begin[begin_s] for begin_s in sorted(by_begin))


@dataclass(frozen=True, slots=True)
class _Sight:
    """What a rule makes of a stretch: where it knows, where that is beyond the limit or clear, and how bad it is.

    Where it is clear is worked out only when it is asked: of most stretches nothing is beyond the limit.
    """

    start_s: int
    step_s: int
    known: Mask
    beyond: Mask
    clear: Callable[[], Mask]
    badness: Values

    def at_s(self, index: int) -> int:
        return self.start_s + self.step_s * index


def _limit(rule: Limit | Disagreement, moments: Moments, state: State) -> tuple[tuple[Firing, ...], dict[str, object]]:
    sign = -1.0 if isinstance(rule, Limit) and rule.side == "below" else 1.0
    values = moments.values if isinstance(rule, Limit) else np.abs(moments.values)
    sight = _sight(moments, values, sign, rule.limit, rule.clear)
    return _follow(sight, _needed(rule.hold_minutes, moments.step_s), int(rule.forget_hours * 3600), state, sign)


def _rate(rule: RateOfChange, moments: Moments, state: State) -> tuple[tuple[Firing, ...], dict[str, object]]:
    known = np.flatnonzero(np.isfinite(moments.values) & moments.allowed)
    at_s, values = moments.start_s + moments.step_s * known, moments.values[known]
    if "last_s" in state:
        at_s = np.concatenate([[_whole(state, "last_s")], at_s])
        values = np.concatenate([[_real(state, "last_value")], values])
    if not len(at_s):
        return _still_open(state), dict(state)
    gap_s = np.diff(at_s)
    per_hour = np.diff(values) / gap_s * 3600
    per_hour[gap_s > rule.most_gap_minutes * 60] = np.nan
    rates = np.full(len(moments.values), np.nan)
    rates[known[len(known) - len(per_hour) :]] = per_hour
    sign = -1.0 if rule.side == "fall" else 1.0
    sight = _sight(
        moments,
        np.abs(rates) if rule.side == "either" else rates,
        sign,
        sign * rule.per_hour,
        sign * rule.clear_per_hour,
    )
    needed = _needed(rule.hold_minutes, moments.step_s)
    firings, left = _follow(sight, needed, int(rule.forget_hours * 3600), state, sign)
    return firings, left | {"last_s": int(at_s[-1]), "last_value": float(values[-1])}


def _no_data(rule: NoData, moments: Moments, state: State) -> tuple[tuple[Firing, ...], dict[str, object]]:
    has_value = np.isfinite(moments.values)
    sight = _Sight(
        moments.start_s,
        moments.step_s,
        moments.allowed,
        moments.allowed & ~has_value,
        lambda: moments.allowed & has_value,
        np.zeros(len(has_value)),
    )
    firings, left = _follow(sight, _needed(rule.minutes, moments.step_s), int(rule.forget_hours * 3600), state, 1.0)
    last_s = _whole(left, "seen") if "seen" in left else 0
    return tuple(_with_length(firing, last_s) for firing in firings), left


def _with_length(firing: Firing, last_s: int) -> Firing:
    until_s = last_s if firing.end_s is None else firing.end_s
    return Firing(firing.since_s, firing.begin_s, firing.end_s, (until_s - firing.since_s) / 60)


def _message(rule: Message, moments: Moments, state: State) -> tuple[tuple[Firing, ...], dict[str, object]]:
    known = np.isfinite(moments.values) & moments.allowed
    beyond = known & np.isin(moments.values, np.asarray(rule.numbers, dtype=np.float64))
    sight = _Sight(moments.start_s, moments.step_s, known, beyond, lambda: known & ~beyond, moments.values)
    return _follow(sight, 1, 0, state, 1.0)


def _sight(moments: Moments, values: Values, sign: float, limit: float, clear: float) -> _Sight:
    known = np.isfinite(values)
    known &= moments.allowed
    is_above = sign > 0
    beyond = values > limit if is_above else values < limit
    beyond &= known

    def cleared() -> Mask:
        return known & (values <= clear if is_above else values >= clear)

    return _Sight(moments.start_s, moments.step_s, known, beyond, cleared, values if is_above else -values)


def _needed(hold_minutes: float, step_s: int) -> int:
    """Return how many known moments in a row last as long: the first of them stands at minute 0."""
    return 1 + int(np.ceil(hold_minutes * 60 / step_s))


@dataclass(frozen=True, slots=True)
class _Runs:
    """Known moments beyond the limit in a row: where each run begins, how long it is, and what it carried in."""

    hits: Indices
    first: Indices
    length: Indices
    carried: int

    def since(self, which: int, sight: _Sight, state: State) -> int:
        is_carried = which == 0 and self.carried > 0
        return _whole(state, "since") if is_carried else sight.at_s(int(self.hits[self.first[which]]))


def _follow(
    sight: _Sight, needed: int, forget_s: int, state: State, sign: float
) -> tuple[tuple[Firing, ...], dict[str, object]]:
    """Find the firings of a condition that must hold for ``needed`` known moments in a row."""
    last = _last(sight.known)
    if last is None:
        return _still_open(state, sign), dict(state)
    was_open = "begin" in state
    hits = np.flatnonzero(sight.beyond)
    left: dict[str, object] = {"seen": sight.at_s(last)}
    if not len(hits) and not was_open:
        return (), left
    runs = _runs(sight, hits, forget_s, state)
    missing = np.full(len(runs.first), needed)
    missing[:1] -= runs.carried
    fires = np.flatnonzero(runs.length >= missing)
    if not len(fires) and not was_open:
        return (), left | _unfinished(sight, runs, last, state)
    at = runs.hits[runs.first[fires] + missing[fires] - 1]
    chosen, ends = _grouped(at, np.flatnonzero(sight.clear()), len(sight.known), was_open)
    begins_s = [sight.at_s(int(at[which])) for which in chosen]
    sinces_s = [runs.since(int(fires[which]), sight, state) for which in chosen]
    if was_open:
        begins_s.insert(0, _whole(state, "begin"))
        sinces_s.insert(0, _whole(state, "since"))
    from_index = np.maximum((np.asarray(sinces_s, dtype=np.int64) - sight.start_s) // sight.step_s, 0)
    worst = _worst(sight, from_index, ends)
    if begins_s and sinces_s[0] < sight.start_s:
        worst[0] = max(worst[0], _real(state, "worst"))
    count = len(sight.known)
    firings = tuple(
        Firing(since_s, begin_s, None if end == count else sight.at_s(int(end)), sign * float(bad))
        for since_s, begin_s, end, bad in zip(sinces_s, begins_s, ends, worst, strict=True)
    )
    if firings and firings[-1].end_s is None:
        return firings, left | {"begin": begins_s[-1], "since": sinces_s[-1], "worst": float(worst[-1])}
    return firings, left | _unfinished(sight, runs, last, state)


def _runs(sight: _Sight, hits: Indices, forget_s: int, state: State) -> _Runs:
    if not len(hits):
        return _Runs(hits, hits, hits, 0)
    # Hits that do not touch are in a row where all between them is unknown.
    before = np.flatnonzero(hits[1:] - hits[:-1] > 1)
    if len(before):
        one, next_one = hits[before], hits[before + 1]
        rank = np.cumsum(sight.known[: next_one[-1] + 1], dtype=np.int32)
        before = before[(rank[next_one] - rank[one] > 1) | ((next_one - one) * sight.step_s > forget_s)]
    first = np.concatenate([[0], before + 1])
    goes_on = (
        "count" in state
        and int(hits[0]) == int(np.argmax(sight.known))
        and sight.at_s(int(hits[0])) - _whole(state, "seen") <= forget_s
    )
    return _Runs(
        hits, first, np.concatenate([first[1:], [len(hits)]]) - first, _whole(state, "count") if goes_on else 0
    )


def _unfinished(sight: _Sight, runs: _Runs, last: int, state: State) -> dict[str, object]:
    """Return what must be carried on of a run that lasts to the end but not long enough yet."""
    if not len(runs.hits) or int(runs.hits[-1]) != last:
        return {}
    which = len(runs.first) - 1
    is_carried = which == 0 and runs.carried > 0
    from_index = int(runs.hits[runs.first[which]])
    worst = float(sight.badness[runs.hits[runs.first[which] :]].max())
    count = int(runs.length[which])
    if is_carried:
        worst, count = max(worst, _real(state, "worst")), count + runs.carried
    since_s = _whole(state, "since") if is_carried else sight.at_s(from_index)
    return {"count": count, "since": since_s, "worst": worst}


def _grouped(at: Indices, clear: Indices, count: int, was_open: bool) -> tuple[list[int], Indices]:
    """Of the moments at which a rule would fire, keep those at which it is not fired already.

    Returns
    -------
    chosen : list[int]
        Positions in ``at``.
    ends : Indices
        Where each is over, ``count`` while it is not; the first is that of the one which was open before.
    """
    ending = np.append(clear, count)
    ends = ending[np.searchsorted(clear, at, side="right")]
    if was_open:
        ends = np.concatenate([ending[:1], ends])
    is_first = np.ones(len(ends), dtype=np.bool_)
    is_first[1:] = ends[1:] != ends[:-1]
    chosen = np.flatnonzero(is_first) - was_open
    return [int(which) for which in chosen if which >= 0], ends[is_first]


def _worst(sight: _Sight, from_index: Indices, ends: Indices) -> Values:
    """Return the largest badness of the known moments of each span; spans do not overlap."""
    if not len(ends):
        return np.empty(0)
    bad = np.append(np.where(sight.known, sight.badness, -np.inf), -np.inf)
    spans = np.stack([from_index, ends], axis=1).ravel()
    worst = np.maximum.reduceat(bad, spans)[::2]
    return np.where(from_index < ends, worst, -np.inf)


def _k_of_n(rule: KOfN, moments: Moments, state: State) -> tuple[tuple[Firing, ...], dict[str, object]]:
    sign = -1.0 if rule.side == "below" else 1.0
    sight = _sight(moments, moments.values, sign, rule.limit, rule.limit)
    was_open = "begin" in state
    hits = np.flatnonzero(sight.beyond)
    earlier = np.asarray(state.get("hits", []), dtype=np.float64).reshape(-1, 3)
    if not len(hits) and not was_open and not len(earlier):
        return (), {}
    # The earlier ones count backwards: rank 0 is the last known moment before this stretch.
    rank_of = np.cumsum(sight.known, dtype=np.int64)
    ranks = np.concatenate([earlier[:, 0].astype(np.int64), rank_of[hits]])
    at_s = np.concatenate([earlier[:, 1].astype(np.int64), moments.start_s + moments.step_s * hits])
    badness = np.concatenate([earlier[:, 2], sight.badness[hits]])
    clear_rank = ranks + rule.n
    is_clear = np.append(ranks[1:] > clear_rank[:-1], True) & (clear_rank >= 1) & (clear_rank <= int(rank_of[-1]))
    clear = np.searchsorted(rank_of, clear_rank[is_clear])
    positions = np.arange(max(len(earlier), rule.k - 1), len(ranks))
    positions = positions[ranks[positions] - ranks[positions - rule.k + 1] < rule.n]
    at = (at_s[positions] - moments.start_s) // moments.step_s
    chosen, ends = _grouped(at, clear, len(rank_of), was_open)
    firings: list[Firing] = []
    for number, end in enumerate(ends):
        is_carried = was_open and number == 0
        position = int(positions[chosen[number - was_open]]) if not is_carried else len(earlier)
        first = position if is_carried else position - rule.k + 1
        until = int(np.searchsorted(at_s, moments.start_s + moments.step_s * int(end)))
        worst = float(badness[first:until].max(initial=_real(state, "worst") if is_carried else -np.inf))
        since_s, begin_s = (
            (_whole(state, "since"), _whole(state, "begin")) if is_carried else (int(at_s[first]), int(at_s[position]))
        )
        end_s = None if int(end) == len(rank_of) else moments.start_s + moments.step_s * int(end)
        firings.append(Firing(since_s, begin_s, end_s, worst))
    keep = max(rule.k - 1, 1)
    kept = [
        [int(rank - rank_of[-1]), int(when_s), float(bad)]
        for rank, when_s, bad in zip(ranks[-keep:], at_s[-keep:], badness[-keep:], strict=True)
        if rank - rank_of[-1] > -rule.n
    ]
    left: dict[str, object] = {"hits": kept} if kept else {}
    if firings and firings[-1].end_s is None:
        last = firings[-1]
        left |= {"begin": last.begin_s, "since": last.since_s, "worst": last.worst}
    return tuple(Firing(one.since_s, one.begin_s, one.end_s, sign * one.worst) for one in firings), left


def _running(rule: RunningSince, moments: Moments, state: State) -> tuple[tuple[Firing, ...], dict[str, object]]:
    if rule.hours is not None:
        counts, each, needed = moments.allowed & (moments.values > 0), moments.step_s, round(rule.hours * 3600)
    else:
        before = np.concatenate([[bool(state.get("was_in", False))], moments.allowed[:-1]])
        counts, each, needed = moments.allowed & ~before, 1, rule.charges or 0
    total = _whole(state, "total") if "total" in state else 0
    at = np.flatnonzero(counts)
    left: dict[str, object] = {"total": total + each * len(at), "was_in": bool(moments.allowed[-1])}
    for name in ("since", "begin"):
        if name in state:
            left[name] = state[name]
    if "since" not in left and len(at):
        left["since"] = moments.start_s + moments.step_s * int(at[0])
    if "begin" not in left and total + each * len(at) >= needed:
        left["begin"] = moments.start_s + moments.step_s * int(at[-(-(needed - total) // each) - 1])
    if "begin" not in left:
        return (), left
    reached = _whole(left, "total") / (3600 if rule.hours is not None else 1)
    return (Firing(_whole(left, "since"), _whole(left, "begin"), None, reached),), left


def _still_open(state: State, sign: float = 1.0) -> tuple[Firing, ...]:
    if "begin" not in state:
        return ()
    worst = _real(state, "worst") if "worst" in state else float("nan")
    return (Firing(_whole(state, "since"), _whole(state, "begin"), None, sign * worst),)


def _last(known: Mask) -> int | None:
    """Return the last known moment; None where there is none."""
    back = int(np.argmax(known[::-1]))
    return len(known) - 1 - back if known[len(known) - 1 - back] else None


def _whole(state: State, name: str) -> int:
    value = state[name]
    if not isinstance(value, int | float):
        raise TypeError(f"the carried state has {value!r} as {name}")
    return int(value)


def _real(state: State, name: str) -> float:
    value = state[name]
    if not isinstance(value, int | float):
        raise TypeError(f"the carried state has {value!r} as {name}")
    return float(value)
