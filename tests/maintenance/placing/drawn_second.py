"""Draw what only the second form of a placing problem has into a drawn one: yard, promises, margins, down times."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import pairwise

from maintenance.placing.problem import Charge, Down, Kiln, Problem
from tests.maintenance.placing.drawn_placing import drawn_odd, drawn_small, with_standstills


def small_of_second_form(seed: int) -> Problem:
    """Draw one that can be searched through, every third with standstills."""
    problem = drawn_small(seed)
    return with_second_form(with_standstills(problem, seed) if seed % 3 == 0 else problem, seed)


def odd_of_second_form(seed: int) -> Problem:
    """Draw one of any kind that a file may hold."""
    return with_second_form(drawn_odd(seed), seed)


def with_second_form(problem: Problem, seed: int) -> Problem:
    """Draw the rest: a yard with pauses, charges that wait, have prices and margins, and times in which kilns stand."""
    chance = random.Random(f"second form {seed}")
    grain = max(1, problem.horizon_min // 16)
    kilns = []
    for kiln in problem.kilns:
        charges = [_charge(charge, grain, chance) for charge in kiln.charges[:-1]]
        last = replace(kiln.charges[-1], may_wait_min=chance.choice((None, 2 * grain, 5 * grain)))
        kilns.append(_roomy(replace(kiln, charges=(*charges, last), down=_down(problem, grain, chance)), grain, chance))
    return replace(
        problem,
        yard=_yard(problem, grain, chance) if chance.random() < 0.75 else None,
        kilns=tuple(kilns),
        jobs=tuple(replace(job, keeps_margin=chance.choice((None, True, False))) for job in problem.jobs),
        form=2,
    )


def _charge(charge: Charge, grain: int, chance: random.Random) -> Charge:
    return replace(
        charge,
        may_wait_min=chance.choice((None, 0, 2 * grain, 5 * grain)),
        later_cents_per_hour=chance.choice((0, 0, 30, 600, 3000)),
        promised_end_min=charge.start_min + chance.randrange(12) * grain if chance.random() < 0.3 else None,
        margin_min=chance.choice((0, 0, grain, 3 * grain)),
    )


def _roomy(kiln: Kiln, grain: int, chance: random.Random) -> Kiln:
    """Let charges take time to be loaded and unloaded, where there is room before the next one."""
    charges = list(kiln.charges)
    for number, (charge, following) in enumerate(pairwise(kiln.charges)):
        longer = replace(charge, unloading_min=chance.randrange(1, 3) * grain, loading_min=chance.randrange(2) * grain)
        if not following.goes_on and longer.start_min + longer.length_min <= following.start_min:
            charges[number] = longer
    return replace(kiln, charges=tuple(charges))


def _yard(problem: Problem, grain: int, chance: random.Random) -> tuple[tuple[int, int], ...]:
    spans = []
    at = chance.randrange(-2, 4) * grain
    while at < problem.horizon_min + 10 * grain:
        until = at + chance.randrange(1, 6) * grain
        spans.append((at, until))
        at = until + chance.randrange(5) * grain
    return tuple(spans)


def _down(problem: Problem, grain: int, chance: random.Random) -> tuple[Down, ...]:
    found = []
    at = chance.randrange(-2, 10) * grain
    while chance.random() < 0.6 and at < problem.horizon_min:
        until = at + chance.randrange(1, 6) * grain
        found.append(Down(at, until, chance.random() < 0.4))
        at = until + chance.randrange(4) * grain
    return tuple(found)
