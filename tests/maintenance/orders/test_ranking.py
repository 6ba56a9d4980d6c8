"""Ranking by cost of delay per hour of work, safety apart."""

from datetime import UTC, datetime
from fractions import Fraction
from itertools import pairwise, permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from maintenance.orders.calculations.ranking import Work, rank_work

SIX_JOBS = [Work(f"J{i}", h, c) for i, (h, c) in enumerate([(3, 10), (5, 6), (1, 9), (4, 8), (2, 2), (6, 3)])]


def total_delay_cost(jobs: list[Work] | tuple[Work, ...]) -> float:
    ended, cost = 0.0, 0.0
    for job in jobs:
        ended += job.work_hours
        cost += ended * job.delay_cents_per_hour
    return cost


def test_the_order_costs_the_least_delay_of_all_720() -> None:
    """Six jobs, least total 284 by brute force; the rule of W. E. Smith (1956) reaches it."""
    assert min(total_delay_cost(order) for order in permutations(SIX_JOBS)) == 284
    assert total_delay_cost(rank_work(SIX_JOBS).other) == 284


@pytest.mark.parametrize(
    ("rule", "cost"),
    [(lambda j: -j.delay_cents_per_hour, 307), (lambda j: j.work_hours, 308), (lambda j: j.ref, 356)],
    ids=["dearest first", "shortest first", "first come first served"],
)
def test_other_rules_cost_more(rule, cost: float) -> None:  # type: ignore[no-untyped-def]
    """Costs of the other rules for the same six jobs, computed apart from this code."""
    assert total_delay_cost(sorted(SIX_JOBS, key=rule)) == cost


def test_safety_work_stands_apart_by_its_date_whatever_delay_costs() -> None:
    late = Work("A", 1, 0, is_safety=True, safety_at=datetime(2026, 4, 1, tzinfo=UTC))
    soon = Work("B", 9, 0, is_safety=True, safety_at=datetime(2026, 3, 5, tzinfo=UTC))
    undated = Work("C", 9, 0, is_safety=True)
    ranking = rank_work([late, Work("D", 1, 99_999), soon, undated])
    assert [job.ref for job in ranking.safety] == ["C", "B", "A"]
    assert [job.ref for job in ranking.other] == ["D"]


def test_equals_are_ordered_by_hours_then_by_ref() -> None:
    jobs = [Work("C", 2, 20), Work("B", 1, 10), Work("A", 1, 10)]
    assert [job.ref for job in rank_work(jobs).other] == ["A", "B", "C"]


def test_work_that_takes_no_time_is_done_at_once() -> None:
    assert [job.ref for job in rank_work([Work("A", 1, 500), Work("B", 0, 1)]).other] == ["B", "A"]


@pytest.mark.parametrize("job", [Work("A", -1, 1), Work("A", 1, -1), Work("A", float("nan"), 1)])
def test_negative_or_unknown_figures_are_refused_by_name(job: Work) -> None:
    with pytest.raises(ValueError, match="A: work of"):
        rank_work([job])


def test_two_jobs_of_one_ref_are_refused() -> None:
    with pytest.raises(ValueError, match="two jobs share a ref"):
        rank_work([Work("A", 1), Work("A", 2)])


jobs = st.lists(
    st.builds(Work, st.sampled_from("ABCDEF"), st.integers(1, 6).map(float), st.integers(0, 9), st.booleans()),
    max_size=5,
    unique_by=lambda job: job.ref,
)


@given(jobs=jobs)
def test_nothing_is_lost_and_no_order_of_other_work_is_cheaper(jobs: list[Work]) -> None:
    ranking = rank_work(jobs)
    assert sorted((*ranking.safety, *ranking.other), key=lambda j: j.ref) == sorted(jobs, key=lambda j: j.ref)
    assert ranking == rank_work(reversed(jobs))
    best = min(total_delay_cost(order) for order in permutations(ranking.other))
    assert total_delay_cost(ranking.other) == best


@given(
    st.lists(
        st.builds(
            Work, st.uuids().map(str), st.floats(0, 1e6, exclude_min=True), st.integers(0, 10**9), st.just(False)
        ),
        max_size=12,
        unique_by=lambda job: job.ref,
    )
)
def test_the_order_is_that_of_exact_fractions_for_any_hours(jobs: list[Work]) -> None:
    ratios = [Fraction(job.delay_cents_per_hour) / Fraction(job.work_hours) for job in rank_work(jobs).other]
    assert all(first >= second for first, second in pairwise(ratios))


def test_ratios_that_a_float_cannot_tell_apart_are_ordered_all_the_same() -> None:
    """(10^16 + 1) / 1 is the dearer by one part in 10^16, beyond the digits of a float."""
    jobs = [Work("A", 1.0, 10**16), Work("B", 1.0, 10**16 + 1)]
    assert [job.ref for job in rank_work(jobs).other] == ["B", "A"]
