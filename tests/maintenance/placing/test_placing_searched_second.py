"""The solver of the second form costs what searching through every plan finds."""

from dataclasses import replace

import pytest

from maintenance.placing.checking import check
from maintenance.placing.solving import solve
from tests.maintenance.placing.drawn_placing import drawn_small
from tests.maintenance.placing.drawn_second import small_of_second_form
from tests.maintenance.placing.searched_placing import least_total

#: Seeds whose best plans have a stop in a down time, one that outlasts it, an interruption, or wait for the yard.
TELLING = (25, 31, 59, 67, 81, 86, 93, 97, 98, 101, 112, 115, 127, 128, 134)


@pytest.mark.parametrize("seed", [*range(2, 24), *TELLING])
def test_it_costs_what_searching_through_every_plan_finds(seed: int) -> None:
    problem = small_of_second_form(seed)

    answer = solve(problem, 20, workers=0)

    found = None if answer.plan is None else answer.plan.cost.total
    assert found == least_total(problem)
    assert answer.plan is None or (answer.is_best and answer.plan.bound_cents == found)
    assert answer.plan is None or check(problem, answer.plan).holds


@pytest.mark.parametrize("seed", range(8))
def test_without_its_fields_the_second_form_costs_what_the_first_does(seed: int) -> None:
    first = drawn_small(seed)

    plans = [solve(problem, 20, workers=0).plan for problem in (first, replace(first, form=2))]

    totals = [None if plan is None else plan.cost.total for plan in plans]
    assert totals == [least_total(first)] * 2
