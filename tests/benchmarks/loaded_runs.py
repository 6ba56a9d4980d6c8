"""Run the placing solver on loaded mills; seconds are half the processor time used, as of two quiet cores.

With more than these two cores' worth of other work beside it, a run is given more wall time, so that a line says the
same. Where the best is not known, the gap is that to the proven bound, which is never the smaller one.
"""

from __future__ import annotations

import os
import statistics
import sys
from collections.abc import Iterator, Sequence
from functools import cache

from maintenance.placing.checking import check
from maintenance.placing.frame import Frame
from maintenance.placing.inserting import greedy_plan, put_dearest_anew
from maintenance.placing.solving import Progress, solve
from tests.benchmarks.harness import BenchmarkError, Measured, Target, at_most
from tests.benchmarks.placing_runs import CORES, MOST_TIMES_WALL
from tests.maintenance.placing.loaded_mills import load_of, loaded_mill
from tests.maintenance.placing.sooner_places import said_wrongly

#: Most of the mills are to be proven best.
MOST_PROVEN = 0.5


@cache
def solved(kilns: int, weeks: int, seed: int, seconds: float) -> tuple[Progress, ...]:
    """Solve one mill, and give what was heard; its plan must pass the checker."""
    problem = loaded_mill(kilns, weeks, seed)
    heard: list[Progress] = []

    def is_used_up() -> bool:
        return bool(heard) and heard[-1].cpu_seconds >= CORES * seconds

    answer = solve(problem, MOST_TIMES_WALL * seconds, heard.append, is_used_up, seed=seed)
    name = f"{kilns} kilns x {weeks} weeks, seed {seed}"
    if answer.plan is None or answer.failure or not check(problem, answer.plan).holds:
        raise BenchmarkError(f"{name}: {answer.failure or answer.hopeless or 'the plan does not hold'}")
    load, total, bound = load_of(problem), answer.plan.cost.total, answer.plan.bound_cents
    heard.append(Progress(answer.cpu_seconds / CORES, total, bound, "end", answer.cpu_seconds, lambda: answer.plan))
    sys.stderr.write(
        f"{name}: people {load.people:.0%}, openings {load.openings:.0%}, {total / 100:,.0f}, gap {heard[-1].gap:.2%}, "
        f"{'proven best' if answer.is_best else 'not proven'}, {answer.cpu_seconds / CORES:.0f} s, "
        f"others at work {os.getloadavg()[0]:.1f}\n"
    )
    return tuple(heard)


def measure(
    kilns: int,
    weeks: int,
    seeds: Sequence[int],
    seconds: float,
    mean: float | None = None,
    worst: float | None = None,
    proof_seconds: float | None = None,
) -> Iterator[Measured]:
    """Hold mean and worst of the gaps after a time against targets.

    With `proof_seconds` a run goes on so long, and the gap is that of the plan at `seconds` to what is known then.
    """
    runs = [solved(kilns, weeks, seed, proof_seconds or seconds) for seed in seeds]
    gaps, costs, bounds = [], [], []
    for run in runs:
        then = [one.total_cents for one in run if one.cpu_seconds <= CORES * seconds] or [run[0].total_cents]
        known = run[-1].total_cents if proof_seconds else max(one.bound_cents for one in run)
        gaps.append((min(then) - known) / min(then))
        costs.append(min(then) / 100)
        bounds.append(known / 100)
    name = f"loaded, {kilns} kilns x {weeks} weeks, {len(seeds)} seeds, after {seconds:g} s"
    to = "the best known" if proof_seconds else "the bound"
    ours, baseline = statistics.mean(costs), statistics.mean(bounds)
    yield Measured(f"{name}: mean gap to {to}", ours, baseline, "money", statistics.mean(gaps), _most(mean))
    yield Measured(f"{name}: worst gap to {to}", ours, baseline, "money", max(gaps), _most(worst))


def _most(share: float | None) -> Target:
    return Target() if share is None else at_most(share)


def proven(kilns: int, weeks: int, seeds: Sequence[int], seconds: float) -> Measured:
    """Count the mills that are proven best within a time."""
    best = sum(run[-1].gap == 0 for run in (solved(kilns, weeks, seed, seconds) for seed in seeds))
    name = f"loaded, {kilns} kilns x {weeks} weeks: proven best within {seconds:g} s"
    target = Target(least=MOST_PROVEN, rests_on_clock=True)
    return Measured(name, best, len(seeds), "mills", best / len(seeds), target)


def true_sentences(seeds: Sequence[int], most_jobs: int = 10**6) -> Measured:
    """Hold what is said of why jobs are not sooner against the checker; a false sentence is one too many."""
    asked, wrong = 0, []
    for seed in seeds:
        state = put_dearest_anew(greedy_plan(Frame(loaded_mill(12, 4, seed))))
        for job in sorted(state.at)[:most_jobs]:
            asked += 1
            wrong += said_wrongly(state, state.frame.jobs[job].ref)
    name, note = "why not sooner: what is said wrongly, of jobs that were asked of", "; ".join(wrong[:3])
    return Measured(name, len(wrong), asked, "jobs", len(wrong) / asked, Target(most=0), note)
