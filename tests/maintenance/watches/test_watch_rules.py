"""Rules of watches: the vectorised form, fed whole or in pieces, against a plain walk from moment to moment."""

import itertools
import json
import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

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
from maintenance.watches.calculations.rules import Firing, Moments, allowed_in, evaluate, joined
from plant.readings.calculations.climate_frame import PHASE_CODES

START_S, STEP_S = 1_700_000_000, 300
NAN = math.nan


@dataclass
class Walk:
    """A rule of the kind of `Limit`, followed moment by moment as its description reads."""

    needed: int
    forget_s: float
    run: list[tuple[int, float]] = field(default_factory=list)
    open: list[tuple[int, float]] | None = None
    begin_s: int = 0
    seen_s: int | None = None
    found: list[Firing] = field(default_factory=list)

    def moment(self, at_s: int, bad: float, is_beyond: bool, is_clear: bool) -> None:
        if self.open is None and self.seen_s is not None and at_s - self.seen_s > self.forget_s:
            self.run = []
        self.seen_s = at_s
        if self.open is not None:
            if is_clear:
                self.found.append(self.firing(at_s))
                self.open = None
            else:
                self.open.append((at_s, bad))
            return
        self.run = [*self.run, (at_s, bad)] if is_beyond else []
        if is_beyond and len(self.run) >= self.needed:
            self.open, self.begin_s, self.run = self.run, at_s, []

    def firing(self, end_s: int | None) -> Firing:
        assert self.open is not None
        return Firing(self.open[0][0], self.begin_s, end_s, max(bad for _at, bad in self.open))

    def all(self) -> list[Firing]:
        return self.found + ([self.firing(None)] if self.open is not None else [])


def needed(minutes: float) -> int:
    return 1 + math.ceil(minutes * 60 / STEP_S)


def slow(rule: MomentRule, values: list[float], allowed: list[bool]) -> list[Firing]:
    """Apply a rule as its description reads, one moment after the other."""
    moments = [(START_S + STEP_S * i, x, ok) for i, (x, ok) in enumerate(zip(values, allowed, strict=True))]
    known = [(at_s, x) for at_s, x, ok in moments if ok and not math.isnan(x)]
    match rule:
        case Limit():
            sign = 1 if rule.side == "above" else -1
            walk = Walk(needed(rule.hold_minutes), rule.forget_hours * 3600)
            for at_s, x in known:
                walk.moment(at_s, sign * x, sign * x > sign * rule.limit, sign * x <= sign * rule.clear)
            return [Firing(f.since_s, f.begin_s, f.end_s, sign * f.worst) for f in walk.all()]
        case Disagreement():
            walk = Walk(needed(rule.hold_minutes), rule.forget_hours * 3600)
            for at_s, x in known:
                walk.moment(at_s, abs(x), abs(x) > rule.limit, abs(x) <= rule.clear)
            return walk.all()
        case RateOfChange():
            walk, sign = Walk(needed(rule.hold_minutes), rule.forget_hours * 3600), -1 if rule.side == "fall" else 1
            for (was_s, was), (at_s, x) in itertools.pairwise(known):
                rate = (x - was) / (at_s - was_s) * 3600
                bad = abs(rate) if rule.side == "either" else sign * rate
                if at_s - was_s <= rule.most_gap_minutes * 60:
                    walk.moment(at_s, bad, bad > rule.per_hour, bad <= rule.clear_per_hour)
            return [Firing(f.since_s, f.begin_s, f.end_s, sign * f.worst) for f in walk.all()]
        case NoData():
            walk, last_s = Walk(needed(rule.minutes), rule.forget_hours * 3600), 0
            for at_s, x, ok in moments:
                if ok:
                    walk.moment(at_s, 0, math.isnan(x), not math.isnan(x))
                    last_s = at_s
            return [Firing(f.since_s, f.begin_s, f.end_s, ((f.end_s or last_s) - f.since_s) / 60) for f in walk.all()]
        case Message():
            walk = Walk(1, 0)
            for at_s, x in known:
                walk.moment(at_s, x, x in rule.numbers, x not in rule.numbers)
            return walk.all()
        case KOfN():
            return slow_k_of_n(rule, known)
        case RunningSince():
            return slow_running(rule, moments)


def slow_k_of_n(rule: KOfN, known: list[tuple[int, float]]) -> list[Firing]:
    window: deque[tuple[int, float, bool]] = deque(maxlen=rule.n)
    found: list[Firing] = []
    open_since: tuple[int, int, float] | None = None
    for at_s, x in known:
        bad, limit = (x, rule.limit) if rule.side == "above" else (-x, -rule.limit)
        window.append((at_s, bad, bad > limit))
        hits = [(when, worst) for when, worst, is_hit in window if is_hit]
        if open_since is not None:
            if not hits:
                found.append(Firing(open_since[0], open_since[1], at_s, open_since[2]))
                open_since = None
            else:
                open_since = (open_since[0], open_since[1], max(open_since[2], *(worst for _at, worst in hits)))
        elif len(hits) >= rule.k:
            last = hits[-rule.k :]
            open_since = (last[0][0], at_s, max(worst for _at, worst in last))
    if open_since is not None:
        found.append(Firing(open_since[0], open_since[1], None, open_since[2]))
    sign = 1 if rule.side == "above" else -1
    return [Firing(f.since_s, f.begin_s, f.end_s, sign * f.worst) for f in found]


def slow_running(rule: RunningSince, moments: list[tuple[int, float, bool]]) -> list[Firing]:
    total, since_s, begin_s, was_in = 0.0, 0, 0, False
    for at_s, x, ok in moments:
        counts = ok and x > 0 if rule.hours is not None else ok and not was_in
        was_in = ok
        if counts:
            since_s = since_s or at_s
            total += STEP_S / 3600 if rule.hours is not None else 1
            if not begin_s and total >= (rule.hours or rule.charges or 0) - 1e-9:
                begin_s = at_s
    return [Firing(since_s, begin_s, None, total)] if begin_s else []


def moments_of(values: list[float], allowed: list[bool], first: int = 0) -> Moments:
    return Moments(START_S + STEP_S * first, STEP_S, np.array(values, dtype=float), np.array(allowed, dtype=bool))


def in_pieces(rule: MomentRule, values: list[float], allowed: list[bool], cuts: list[int]) -> list[Firing]:
    """Feed a rule piece by piece; what it carries on goes through JSON each time."""
    state: dict[str, object] = {}
    stretches = []
    edges = sorted({0, *(cut % (len(values) + 1) for cut in cuts), len(values)})
    for first, last in itertools.pairwise(edges):
        firings, state = evaluate(rule, moments_of(values[first:last], allowed[first:last], first), state)
        state = json.loads(json.dumps(state, allow_nan=False))
        stretches.append(firings)
    return list(joined(stretches))


def rounded(firings: list[Firing]) -> list[tuple[int, int, int | None, float]]:
    return [(f.since_s, f.begin_s, f.end_s, round(f.worst, 6)) for f in firings]


RULES: list[MomentRule] = [
    Limit("above", 2, 1),
    Limit("above", 2, 2, hold_minutes=10, forget_hours=0.5),
    Limit("below", -1, 0, hold_minutes=12, forget_hours=0.25),
    Disagreement(2, 1, hold_minutes=5, forget_hours=0.5),
    KOfN("above", 1, k=1, n=1),
    KOfN("above", 1, k=2, n=4),
    KOfN("below", -1, k=3, n=5),
    RateOfChange("rise", 20, 10),
    RateOfChange("fall", 20, 0, hold_minutes=5, most_gap_minutes=10),
    RateOfChange("either", 30, 5, forget_hours=0.25),
    NoData(minutes=10, forget_hours=0.5),
    Message((2, -3)),
    RunningSince(hours=0.75),
    RunningSince(charges=3),
]
VALUES = st.lists(
    st.tuples(st.sampled_from([-3.0, -2.0, -1.0, 0.0, 1.0, 1.5, 2.0, 3.0, 3.0, NAN]), st.integers(0, 5)),
    min_size=1,
    max_size=60,
)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: f"{type(rule).__name__}-{RULES.index(rule)}")
@given(drawn=VALUES, cuts=st.lists(st.integers(0, 60), max_size=6))
@settings(max_examples=60, deadline=None)
def test_a_rule_says_the_same_whole_in_pieces_and_moment_by_moment(
    rule: MomentRule, drawn: list[tuple[float, int]], cuts: list[int]
) -> None:
    values, allowed = [value for value, _ in drawn], [number > 0 for _, number in drawn]
    expected = rounded(slow(rule, values, allowed))
    assert rounded(in_pieces(rule, values, allowed, [])) == expected
    assert rounded(in_pieces(rule, values, allowed, cuts)) == expected
    assert rounded(in_pieces(rule, values, allowed, list(range(len(values))))) == expected


def test_a_value_that_hovers_between_clear_and_limit_neither_fires_nor_ends() -> None:
    rule = Limit("above", 2, 1)
    (firing,), _state = evaluate(rule, moments_of([1.5, 2.5, 1.5, 1.2, 1.0, 1.5], [True] * 6), {})
    assert (firing.begin_s, firing.end_s, firing.worst) == (START_S + STEP_S, START_S + 4 * STEP_S, 2.5)


def test_moments_outside_the_phases_and_without_a_value_neither_feed_nor_end() -> None:
    phase = np.array([PHASE_CODES[name] for name in ("drying", "cooling", "drying", "drying")], dtype=np.int8)
    allowed = allowed_in(phase, ["drying", "conditioning"])
    assert allowed.tolist() == [True, False, True, True]
    rule = Limit("above", 2, 1, hold_minutes=10)
    (firing,), _state = evaluate(rule, moments_of([3, 0, NAN, 3, 3], [*allowed, True]), {})
    assert (firing.since_s, firing.begin_s) == (START_S, START_S + 4 * STEP_S)


def test_without_phases_every_moment_counts() -> None:
    assert allowed_in(np.array([0, 3, 6], dtype=np.int8), ()).all()


def test_a_stretch_without_moments_changes_nothing() -> None:
    assert evaluate(RULES[0], moments_of([], []), {"seen": 5}) == ((), {"seen": 5})


def test_a_reset_lets_running_hours_count_anew() -> None:
    rule = RunningSince(hours=0.25)
    firings, state = evaluate(rule, moments_of([1, 1, 1], [True] * 3), {})
    assert [firing.begin_s for firing in firings] == [START_S + 2 * STEP_S]
    assert evaluate(rule, moments_of([1], [True], 3), state)[0]
    assert not evaluate(rule, moments_of([1], [True], 3), {})[0]


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Limit("above", 1, 2), "clear value 2 lies beyond the limit 1"),
        (lambda: Limit("below", 2, 1), "clear value 1 lies beyond the limit 2"),
        (lambda: Limit("above", 1, 1, hold_minutes=-1), "hold_minutes -1 is outside"),
        (lambda: Limit("above", NAN, 1), "lies beyond"),
        (lambda: Disagreement(1, -1), "outside 0 to the limit"),
        (lambda: KOfN("above", 1, k=3, n=2), "n 2 is outside 3"),
        (lambda: KOfN("above", 1, k=9, n=20), "k 9 is outside 1 to 8"),
        (lambda: RateOfChange("rise", 1, 2), "outside 0 to per_hour"),
        (lambda: NoData(0), "minutes 0 is outside"),
        (lambda: Message(()), "0 message numbers"),
        (lambda: RunningSince(), "either hours or charges"),
        (lambda: RunningSince(hours=1, charges=1), "either hours or charges"),
        (lambda: RunningSince(hours=math.inf), "hours inf is outside"),
    ],
)
def test_numbers_that_make_no_rule_are_refused(make: Callable[[], MomentRule], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        make()
