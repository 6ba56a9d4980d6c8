"""Run the placing solver on drawn mills and put what comes out against bound and rules of thumb.

Seconds are those of two cores that have nothing else to do: half the processor time that was used. On a machine that
does other work too, the solver is given more wall time for them, so that a line says the same there.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from statistics import mean

from maintenance.placing.checking import check
from maintenance.placing.solving import Progress, solve
from tests.benchmarks.harness import BenchmarkError, Measured, Target, at_most, yardstick_s
from tests.maintenance.placing.drawn_placing import drawn_mill

CORES, MOST_TIMES_WALL = 2, 5
#: A first plan stands within so many yardsticks: 1 s where a yardstick takes 22 ms.
FIRST_PLAN = 45


@dataclass(frozen=True)
class Run:
    """One mill solved: what the plan costs, what is proven, and how it came to that."""

    total_cents: int
    bound_cents: int
    #: None where the rule of thumb finds no place for a job that must have one.
    due_date_cents: int | None
    greedy_cents: int | None
    first_seconds: float
    proven_after_seconds: float | None
    heard: tuple[Progress, ...]

    def gap_after(self, seconds: float) -> float:
        """What was left to gain at most at that time, as a share of the cost then."""
        return min((one.gap for one in self.heard if one.cpu_seconds / CORES <= seconds), default=1.0)


def run_mill(kilns: int, weeks: int, seed: int, seconds: float) -> Run:
    """Solve one drawn mill; its plan must pass the check, and cost no more than the rules of thumb."""
    problem = drawn_mill(kilns, weeks, seed)
    heard: list[Progress] = []

    def is_used_up() -> bool:
        return bool(heard) and heard[-1].cpu_seconds >= CORES * seconds

    answer = solve(problem, MOST_TIMES_WALL * seconds, heard.append, is_used_up)
    if answer.plan is None or answer.failure:
        raise BenchmarkError(f"{kilns} kilns, {weeks} weeks, seed {seed}: {answer.failure or answer.hopeless}")
    verdict = check(problem, answer.plan)
    by_rule = [cents for cents in (answer.due_date_cents, answer.greedy_cents) if cents is not None]
    if not verdict.holds or verdict.cost.total > min(by_rule, default=verdict.cost.total):
        raise BenchmarkError(f"{kilns} kilns, {weeks} weeks, seed {seed}: {verdict.broken or 'dearer than a rule'}")
    run = Run(
        verdict.cost.total,
        answer.plan.bound_cents,
        answer.due_date_cents,
        answer.greedy_cents,
        answer.first_seconds,
        answer.cpu_seconds / CORES if answer.is_best else None,
        tuple(heard),
    )
    gap = (run.total_cents - run.bound_cents) / run.total_cents
    used = answer.cpu_seconds / CORES
    sys.stderr.write(f"{kilns} x {weeks}, seed {seed}: {run.total_cents / 100:,.0f}, gap {gap:.2%}, {used:.1f} s\n")
    return run


def measure(kilns: int, weeks: int, seeds: Sequence[int], seconds: float, targets: Targets) -> Iterator[Measured]:
    """Solve some mills and hold them against the targets."""
    yardstick = yardstick_s()
    runs = [run_mill(kilns, weeks, seed, seconds) for seed in seeds]
    name = f"placing, {kilns} kilns x {weeks} weeks, {len(seeds)} seeds"
    first, gap = max(run.first_seconds for run in runs), mean(run.gap_after(targets.gap_at_seconds) for run in runs)

    def cost(of: Callable[[Run], int]) -> float:
        return mean(of(run) for run in runs) / 100

    def against(rule: str, of: Callable[[Run], int | None], most: float) -> Measured:
        pairs = [(run.total_cents, cents) for run in runs if (cents := of(run)) is not None]
        if not pairs:
            raise BenchmarkError(f"{name}: {rule} finds no complete plan for any of them")
        ratio = mean(ours / theirs for ours, theirs in pairs)
        ours, theirs = mean(pair[0] for pair in pairs) / 100, mean(pair[1] for pair in pairs) / 100
        note = "" if len(pairs) == len(runs) else f"{len(runs) - len(pairs)} left out, which the rule leaves incomplete"
        return Measured(f"{name}: cost against {rule}", ours, theirs, "money", ratio, Target(most=most), note)

    proven = [run.proven_after_seconds for run in runs if run.proven_after_seconds is not None]
    yield Measured(
        f"{name}: first plan, against the yardstick", first, yardstick, "s", first / yardstick, at_most(FIRST_PLAN)
    )
    yield Measured(
        f"{name}: gap after {targets.gap_at_seconds:g} s",
        cost(lambda run: run.total_cents),
        cost(lambda run: run.bound_cents),
        "money",
        gap,
        at_most(targets.gap),
        f"worst {max(run.gap_after(targets.gap_at_seconds) for run in runs):.2%}; proven best: {len(proven)}",
    )
    yield against("the due-date rule", lambda run: run.due_date_cents, targets.of_due_date)
    yield against("greedy by cost", lambda run: run.greedy_cents, targets.of_greedy)


@dataclass(frozen=True)
class Targets:
    """What a size is held against: the gap at a time, and the cost as a share of the rules of thumb."""

    gap_at_seconds: float
    gap: float
    of_due_date: float
    of_greedy: float
