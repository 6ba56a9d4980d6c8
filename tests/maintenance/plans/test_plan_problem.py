"""The desk as a placing problem: what is drawn from the records, and how a plan reads in their words."""

import json
from datetime import timedelta
from decimal import Decimal

import pytest

from maintenance.models import WorkOrder
from maintenance.placing.checking import check
from maintenance.placing.frame import Frame
from maintenance.placing.hopeless import find_hopeless
from maintenance.placing.inserting import due_date_plan
from maintenance.placing.problem import problem_to_json
from maintenance.placing.reading import read_problem
from maintenance.plans.desk import load_desk
from maintenance.plans.drawing import Drawn, draw_problem, held_back, places
from maintenance.plans.places import pin
from maintenance.plans.placing_all import place_all
from plant.models import Absence, Charge, Mill
from plant.templatetags.said import said as in_words
from tests.factories import MONDAY
from tests.maintenance.placing_mill import OPENING_FROM, job, on_shift, programme

pytestmark = pytest.mark.django_db
NOW = MONDAY + timedelta(hours=1)


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)


def drawn(**ways: list[str]) -> Drawn:
    found = draw_problem(load_desk(NOW), **ways)
    # What is drawn is free of faults by the very reader that files go through.
    read_problem(json.dumps(problem_to_json(found.problem)).encode())
    return found


def test_a_plan_of_the_drawn_problem_reads_as_places_of_the_records() -> None:
    charge, _next = programme()
    oda, order = on_shift(), job()
    found = drawn()
    plan = due_date_plan(Frame(found.problem)).to_plan(0, 0)
    assert check(found.problem, plan).holds
    place = places(found, plan)[order.number]
    assert place.start_at >= OPENING_FROM + timedelta(minutes=60)
    assert place.end_at - place.start_at == timedelta(minutes=90)
    assert (place.person_ids, place.after_charge_id, place.during_charge_id) == ((oda.pk,), charge.pk, None)
    assert held_back(found, plan) == {}


def test_a_charge_under_way_keeps_its_begin_and_the_last_of_a_kiln_bounds_the_horizon() -> None:
    programme()
    (kiln,) = drawn().problem.kilns
    assert kiln.charges[0].start_min == -60
    assert kiln.charges[0].length_min == 4 * 24 * 60
    assert kiln.charges[-1].start_min >= drawn().problem.horizon_min


def test_who_loses_a_skill_within_the_horizon_counts_as_two_one_after_the_other() -> None:
    programme()
    oda = on_shift(skills=("mechanical",), until=(MONDAY + timedelta(days=10)).date())
    before, after = [one for one in drawn().problem.people if one.ref.startswith(f"{oda.pk}~")]
    assert "mechanical" in before.skills and "mechanical" not in after.skills
    (gone, back) = before.away[0][0], after.away[0][1]
    assert gone == back


def test_an_absence_keeps_a_person_away_to_the_minute() -> None:
    programme()
    oda = on_shift()
    Absence.objects.create(person=oda, start_at=NOW + timedelta(hours=3), end_at=NOW + timedelta(hours=5))
    (person,) = drawn().problem.people
    assert (180, 300) in person.away


def test_a_job_longer_than_any_shift_is_set_aside_with_the_reason() -> None:
    programme()
    on_shift()
    order = job(hours=Decimal(14))
    found = drawn()
    assert found.problem.jobs == ()
    assert "longer than any shift" in in_words(found.aside[order.number])


def test_a_pinned_place_stays_pinned_in_the_problem() -> None:
    programme()
    on_shift()
    order = job()
    place_all(NOW)
    pin(WorkOrder.objects.get(pk=order.pk), by=None)
    problem = drawn().problem
    assert problem.pinned == {order.number}
    start_at = WorkOrder.objects.get(pk=order.pk).placement.start_at
    assert problem.issued[order.number].start_min == (start_at - NOW) // timedelta(minutes=1)


def test_a_safety_date_that_nothing_meets_gives_way_and_costs_dearly() -> None:
    programme()
    on_shift()
    order = job(is_safety=True, safety_at=NOW + timedelta(hours=20), due_at=NOW + timedelta(hours=20))
    (hopeless,) = find_hopeless(Frame(drawn().problem))
    assert hopeless.job == order.number
    again = drawn(gives_way=[order.number])
    assert find_hopeless(Frame(again.problem)) == ()
    assert again.problem.jobs[0].late_cents_per_hour > 0


def test_a_mill_without_charges_can_be_drawn() -> None:
    Charge.objects.all().delete()
    job()
    assert drawn().problem.kilns[0].charges[-1].start_min == drawn().problem.horizon_min


def test_the_prices_of_a_problem_are_those_the_mill_has_set() -> None:
    programme()
    on_shift()
    job(due_at=NOW + timedelta(days=1))
    usual = drawn().problem
    assert (usual.overtime_cents_per_person_hour, usual.move_cents) == (7200, 1500)
    assert usual.kilns[0].interruption_cents == 60_000
    Mill.objects.update(
        overtime_factor="2.25", price_per_interruption="812.50", price_per_move="0", price_per_job_left_out="150.01"
    )
    ours = drawn().problem
    assert (ours.overtime_cents_per_person_hour, ours.move_cents) == (10_800, 0)
    assert ours.kilns[0].interruption_cents == 81_250
    assert ours.jobs[0].leave_out_cents == usual.jobs[0].leave_out_cents - 4_999
    Mill.objects.update(
        overtime_factor=10, price_per_interruption=10**6, price_per_move=10**6, price_per_job_left_out=10**6
    )
    # The dearest that can be set is still a problem that reads without a fault.
    assert drawn().problem.move_cents == 10**8


def test_no_setting_lowers_what_late_safety_work_costs() -> None:
    programme()
    on_shift()
    order = job(is_safety=True, safety_at=NOW + timedelta(hours=20), due_at=NOW + timedelta(hours=20))
    (before,) = drawn(gives_way=[order.number]).problem.jobs
    Mill.objects.update(overtime_factor=0, price_per_interruption=0, price_per_move=0, price_per_job_left_out=1)
    (after,) = drawn(gives_way=[order.number]).problem.jobs
    assert (after.late_cents_per_hour, after.leave_out_cents) == (before.late_cents_per_hour, before.leave_out_cents)
    Mill.objects.update(price_per_job_left_out=300)
    (dearer,) = drawn(gives_way=[order.number]).problem.jobs
    assert dearer.leave_out_cents == before.leave_out_cents + 10_000
