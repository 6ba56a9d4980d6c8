"""Placing problems of the second form against exhaustive search; about two minutes."""

from __future__ import annotations

import time
from collections.abc import Iterator

from maintenance.placing.checking import check
from maintenance.placing.solving import solve
from tests.benchmarks.harness import Measured, Target
from tests.maintenance.placing.drawn_second import small_of_second_form
from tests.maintenance.placing.searched_placing import least_total

SEARCHED = 200


def run() -> Iterator[Measured]:
    """Count how many cost what the cheapest of all their plans costs, and hold."""
    began, right, without = time.perf_counter(), 0, 0
    for seed in range(SEARCHED):
        problem = small_of_second_form(seed)
        plan = solve(problem, 30, workers=0).plan
        without += plan is None
        found = None if plan is None else plan.cost.total
        right += found == least_total(problem) and (plan is None or check(problem, plan).holds)
    told = f"{time.perf_counter() - began:.0f} s, {without} have no plan"
    name = "placing: cost of exhaustive search, second form"
    yield Measured(name, right, SEARCHED, "solved", right / SEARCHED, Target(least=1, most=1), told)
