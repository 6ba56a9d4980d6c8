"""Costs of delay keep their fractions of a cent, from the price of a day to the total, in checker and solver alike.

What is expected here is reckoned by hand: cents a day times minutes, over the 1440 minutes of a day, rounded once.
"""

from dataclasses import replace
from fractions import Fraction

import pytest

from maintenance.placing.checking import check
from maintenance.placing.json_places import FaultyFileError
from maintenance.placing.reading import read_problem
from maintenance.placing.solving import solve
from tests.maintenance.placing.drawn_placing import DAY_MIN
from tests.maintenance.placing.placing_by_hand import a_job, a_mill, as_bytes

A_DIME_A_DAY = Fraction(10, 24)


def test_a_dime_a_day_is_neither_nothing_nor_a_cent_an_hour() -> None:
    late = [a_job(f"J{n}", due_min=-30 * DAY_MIN, delay_cents_per_hour=A_DIME_A_DAY) for n in range(3)]
    problem = a_mill(*late)
    answer = solve(problem, seconds=5, workers=0)
    assert answer.plan is not None
    minutes = sum(answer.plan.jobs[job.ref].start_min + job.duration_min - job.due_min for job in late)
    assert answer.plan.cost.delay == (10 * minutes + DAY_MIN // 2) // DAY_MIN
    assert check(problem, answer.plan).cost == answer.plan.cost
    assert check(problem, answer.plan).broken == ()


def test_parts_are_rounded_once_and_not_job_by_job() -> None:
    """Three jobs that wait a third of a cent each wait for a cent together."""
    plain = {"duration_min": 0, "crew": (), "due_min": -120, "delay_cents_per_hour": Fraction(1, 24)}
    jobs = [a_job(f"J{n}", **plain) for n in range(3)]
    problem = a_mill(*jobs)
    answer = solve(problem, seconds=5, workers=0)
    assert answer.plan is not None
    minutes = sum(answer.plan.jobs[job.ref].start_min - job.due_min for job in jobs)
    assert minutes == 3 * 480
    assert answer.plan.cost.delay == 1


def test_a_file_tells_such_a_price_by_the_day_and_comes_back_as_it_was() -> None:
    problem = a_mill(a_job(delay_cents_per_hour=A_DIME_A_DAY), a_job("J2"))
    assert b'"delay_cents_per_day": 10' in as_bytes(problem)
    assert b'"delay_cents_per_hour": 60' in as_bytes(problem)
    assert read_problem(as_bytes(problem)) == (problem, [])


def test_a_job_without_any_price_is_a_fault() -> None:
    content = as_bytes(a_mill(a_job())).replace(b'"delay_cents_per_hour": 60, ', b"")
    with pytest.raises(FaultyFileError):
        read_problem(content)


def test_a_part_of_a_cent_a_day_is_refused() -> None:
    with pytest.raises(ValueError, match="no whole cents a day"):
        replace(a_job(), delay_cents_per_hour=Fraction(1, 48))
