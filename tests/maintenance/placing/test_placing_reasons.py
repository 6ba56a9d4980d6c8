"""Reasons of placed jobs, and how a plan fares when charges end at other times than predicted."""

from __future__ import annotations

from dataclasses import replace
from statistics import NormalDist

import pytest

from maintenance.placing.doubt import buffer_that_pays, deviation_of, doubt
from maintenance.placing.frame import Frame
from maintenance.placing.inserting import greedy_plan, put_dearest_anew
from maintenance.placing.problem import Issued, Job, Problem
from maintenance.placing.reasons import Reason, reason_of
from maintenance.placing.solving import solve
from maintenance.placing.state import State
from plant.basics.sentences import Sentence
from tests.maintenance.placing.drawn_placing import DAY_MIN, drawn_mill
from tests.maintenance.placing.loaded_mills import loaded_mill
from tests.maintenance.placing.placing_by_hand import a_job, a_mill
from tests.maintenance.placing.sooner_places import said_wrongly


def planned(*jobs: Job, **changes: object) -> State:
    return greedy_plan(Frame(a_mill(*jobs, **changes)))


def rules_of(reason: Reason) -> set[str]:
    return {cause.said.code for cause in reason.causes}


def test_a_job_that_waits_for_parts_says_so() -> None:
    reason = reason_of(planned(a_job(parts_min=2 * DAY_MIN)), "J1")

    assert reason.causes[0].said == Sentence.of("cause.parts", from_at=2 * DAY_MIN)
    assert (reason.causes[0].shifts, reason.sooner) == (2, None)


def test_a_job_that_waits_for_an_opening_says_so() -> None:
    reason = reason_of(planned(a_job(needs_state="empty")), "J1")

    assert [cause.said for cause in reason.causes] == [Sentence.of("cause.not_empty", kiln="K1")]


def test_a_job_that_waits_for_another_names_it() -> None:
    reason = reason_of(planned(a_job("A", parts_min=DAY_MIN), a_job("B", after=(("A", 0),))), "B")

    assert reason.causes[0].said == Sentence.of("cause.after", job="A", until_at=DAY_MIN + 420)


def test_booked_skills_and_skills_that_are_not_there_are_two_things() -> None:
    pinned = {"A": Issued(360, frozenset({"P1"}))}
    jobs = (a_job("A", duration_min=600), a_job("B", duration_min=600, crew=(("mechanical", 2),)))
    booked = planned(*jobs, issued=pinned, pinned=frozenset({"A"}))
    alone = planned(a_job("C", crew=(("electrical", 2),), earliest_min=DAY_MIN))

    assert rules_of(reason_of(booked, "B")) == {"cause.booked"}
    # P3 is away on Tuesday, and P2 alone is not enough.
    assert "cause.skill" in rules_of(reason_of(alone, "C"))


def test_what_shares_a_stop_is_named_and_only_the_last_pays_for_it() -> None:
    state = planned(a_job("A", needs_state="empty"), a_job("B", needs_state="still"))

    assert reason_of(state, "A").grouped_with == ("B",)
    assert reason_of(state, "A").caused_cents == 0
    assert reason_of(planned(a_job("A", needs_state="empty")), "A").caused_cents == 2500


def test_sooner_has_its_price() -> None:
    """A still job could be done at once if the charge were interrupted: 600 for that, and the drying it loses."""
    reason = reason_of(planned(a_job(needs_state="still", due_min=0, delay_cents_per_hour=60)), "J1")

    assert reason.sooner is not None
    assert reason.sooner.start_min == 420
    # The job ends 2,160 minutes earlier, a cent each; the stop costs 25 either way, the charge after it can wait.
    assert reason.sooner.more_cents == 60_000 - (planned_start(needs_state="still") - 420)


def planned_start(**changes: object) -> int:
    return planned(a_job(due_min=0, delay_cents_per_hour=60, **changes)).at[0].start_min


def test_a_job_that_is_left_out_says_what_a_place_would_cost() -> None:
    reason = reason_of(planned(a_job(due_min=0, leave_out_cents=10)), "J1")

    assert (reason.is_placed, reason.own_cents) == (False, 10)
    assert reason.sooner is not None and reason.sooner.more_cents == 420 - 10


def test_the_three_cheapest_ways_lie_in_three_shifts_the_cheapest_first() -> None:
    reason = reason_of(planned(a_job(due_min=0, leave_out_cents=10)), "J1")

    assert len(reason.ways) == len({way.shift for way in reason.ways}) == 3
    assert [way.more_cents for way in reason.ways] == sorted(way.more_cents for way in reason.ways)


def test_a_way_that_interrupts_a_charge_says_which() -> None:
    reason = reason_of(planned(a_job(needs_state="still", due_min=0, delay_cents_per_hour=60)), "J1")

    assert reason.ways[0].interrupts == 0 and reason.ways[0].people


def test_the_weight_of_a_safety_date_is_no_money() -> None:
    """An hour after the date weighs 20; the charge that is interrupted costs the same, whatever the hours weigh."""
    plain = reason_of(planned(a_job(needs_state="still", due_min=0)), "J1").ways[0]
    late = reason_of(planned(a_job(needs_state="still", latest_min=0, due_min=0, late_cents_per_hour=20)), "J1").ways[0]

    assert (late.start_min, late.money_cents) == (plain.start_min, plain.more_cents)
    assert late.late_min < 0 and late.more_cents < late.money_cents


def test_every_job_of_a_drawn_mill_has_a_reason_that_adds_up() -> None:
    state = greedy_plan(Frame(drawn_mill(12, 4, 1)))

    for job in state.frame.jobs[:40]:
        reason = reason_of(state, job.ref)
        assert reason.own_cents >= 0 and reason.caused_cents >= -1
        assert reason.is_placed == (state.frame.number_of_job[job.ref] in state.at)


@pytest.mark.parametrize("seed", [1, 2])
def test_whatever_is_said_of_why_not_sooner_is_true(seed: int) -> None:
    """The search knows none of the rules that speak; the benchmark holds a thousand jobs and more against it."""
    state = put_dearest_anew(greedy_plan(Frame(loaded_mill(12, 4, seed))))

    placed = [state.frame.jobs[job].ref for job in sorted(state.at)][:25]

    assert [wrong for ref in placed for wrong in said_wrongly(state, ref)] == []


def test_a_sentence_that_is_false_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """Looked at four shifts a place only, some that hold are taken for forbidden."""
    state = put_dearest_anew(greedy_plan(Frame(loaded_mill(12, 4, 1))))

    monkeypatch.setattr("maintenance.placing.reasons.EVERY_SHIFT", 4)

    assert any(said_wrongly(state, ref) for ref in ("J32", "J74", "J24"))


def mill_with_plan() -> tuple[Problem, State]:
    problem = a_mill(a_job("RUN", needs_state="running"), a_job("IN", needs_state="empty", safety=True), a_job("ANY"))
    return problem, greedy_plan(Frame(problem))


def test_without_doubt_everything_holds() -> None:
    problem, state = mill_with_plan()

    found = doubt(problem, state.to_plan(), spread=0, draws=10)

    assert found.all_hold == 1


def test_late_charges_put_the_opening_at_risk_and_not_what_needs_no_state() -> None:
    problem, state = mill_with_plan()

    found = doubt(problem, state.to_plan(), spread=0.6, draws=400)

    holds = {fare.job: fare.holds for fare in found.fares}
    assert holds["ANY"] == 1
    assert 0.2 < holds["IN"] < 0.9
    assert found.all_hold <= min(holds.values())


def test_the_share_of_draws_is_that_of_the_normal_distribution() -> None:
    """The opening begins with the charge's end, and the set-up so much later: P(late) by the normal distribution."""
    problem, state = mill_with_plan()
    spread = 0.6
    slack_min = state.stops[0][2].set_up_start_min - (-600 + problem.kilns[0].charges[0].length_min)
    deviation_min = deviation_of(problem, "K1", 0, spread)

    found = doubt(problem, state.to_plan(), spread=spread, draws=4000)

    expected = NormalDist(0, deviation_min).cdf(slack_min)
    assert {fare.job: fare.holds for fare in found.fares}["IN"] == pytest.approx(expected, abs=0.03)


def test_the_same_seed_gives_the_same_answer() -> None:
    problem, state = mill_with_plan()

    assert doubt(problem, state.to_plan(), seed=7) == doubt(problem, state.to_plan(), seed=7)
    with pytest.raises(ValueError, match="at least one"):
        doubt(problem, state.to_plan(), draws=0)


def test_the_buffer_is_the_quantile_of_the_newsvendor() -> None:
    """An hour of the kiln is worth as much as one of the crew: no buffer. The quantile of 0.9772 is 2 deviations."""
    assert buffer_that_pays(4500, 1, 4500, 60) == pytest.approx(0, abs=1e-9)
    assert buffer_that_pays(2275, 1, 97725, 60) == pytest.approx(120, abs=0.1)
    assert buffer_that_pays(9000, 1, 4500, 60) < 0 < buffer_that_pays(4000, 2, 4500, 60)
    with pytest.raises(ValueError, match="must cost"):
        buffer_that_pays(0, 0, 4500, 60)


def test_a_job_that_does_not_hold_takes_with_it_what_waits_for_it() -> None:
    jobs = (a_job("IN", needs_state="empty"), a_job("NEXT", after=(("IN", 0),), due_min=9000, latest_min=9000))
    problem = a_mill(*jobs)
    plan = greedy_plan(Frame(problem)).to_plan()

    holds = {fare.job: fare.holds for fare in doubt(problem, plan, spread=0.6, draws=300).fares}

    assert holds["NEXT"] == holds["IN"] < 1


def test_prices_and_times_at_the_limit_of_a_file_are_no_trouble() -> None:
    job = a_job(delay_cents_per_hour=10**9, late_cents_per_hour=10**9, leave_out_cents=10**9, due_min=-(10**9))
    problem = a_mill(job, replace(job, ref="J2", needs_state="empty"))

    answer = solve(problem, 5, workers=0)

    assert answer.plan is not None
