"""Placing against exhaustive search, published job shops and ten thousand odd problems; about twenty minutes."""

from __future__ import annotations

import time
from collections.abc import Iterator

from maintenance.placing.checking import check
from maintenance.placing.json_places import FaultyFileError
from maintenance.placing.reading import read_problem
from maintenance.placing.solving import solve
from tests.benchmarks.harness import BenchmarkError, Measured, Target
from tests.maintenance.placing.drawn_placing import drawn_odd, drawn_small
from tests.maintenance.placing.placing_by_hand import as_bytes
from tests.maintenance.placing.placing_shops import job_shop
from tests.maintenance.placing.searched_placing import least_total

SEARCHED, ODD = 300, 10_000
SHOPS = ("ft06", *(f"la{number:02}" for number in range(1, 16)))
SHOP_SECONDS = 60


def run() -> Iterator[Measured]:
    """Count how many agree."""
    for measure in (_searched, _shops, _odd):
        yield measure()


def _counted(name: str, right: int, asked: int, took: float) -> Measured:
    return Measured(name, right, asked, "solved", right / asked, Target(least=1, most=1), f"{took:.0f} s")


def _searched() -> Measured:
    """Small problems: the cost of the cheapest of all plans."""
    began, right = time.perf_counter(), 0
    for seed in range(SEARCHED):
        problem = drawn_small(seed)
        answer = solve(problem, 30, workers=0)
        found = None if answer.plan is None else answer.plan.cost.total
        right += found == least_total(problem)
    return _counted("placing: cost of exhaustive search", right, SEARCHED, time.perf_counter() - began)


def _shops() -> Measured:
    """Job shops: the published optimum, proven."""
    began, right = time.perf_counter(), 0
    for name in SHOPS:
        problem, makespan = job_shop(name)
        answer = solve(problem, SHOP_SECONDS)
        right += answer.plan is not None and answer.plan.cost.total == makespan
    return _counted("placing: published optimum of job shops", right, len(SHOPS), time.perf_counter() - began)


def _odd() -> Measured:
    """Odd problems: a plan that holds, or the reason why there is none."""
    began, right = time.perf_counter(), 0
    for seed in range(ODD):
        try:
            problem, _ = read_problem(as_bytes(drawn_odd(seed)))
        except FaultyFileError as error:
            right += bool(error.faults)
            continue
        answer = solve(problem, 10, workers=0)
        if answer.plan is None:
            right += bool(answer.faults or answer.hopeless)
        elif check(problem, answer.plan).holds:
            right += 1
        else:
            raise BenchmarkError(f"seed {seed}: {check(problem, answer.plan).broken}")
    return _counted("placing: plan that holds, or a reason", right, ODD, time.perf_counter() - began)
