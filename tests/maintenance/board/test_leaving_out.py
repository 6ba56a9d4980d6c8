"""A job that the planner takes out of the plan stays out, with who, when and why; safety work keeps its date."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction

from maintenance.board import unplaced
from maintenance.board.leaving_out import put_back_into_plan, say_left_out, take_out_of_plan
from maintenance.day.run import run_day
from maintenance.models import WorkOrder
from maintenance.plans.by_hand import place_by_hand
from maintenance.plans.desk import load_desk
from maintenance.plans.placing_all import place_all
from plant.models import Change, User
from plant.templatetags.said import said as in_words
from tests.factories import MONDAY, UserFactory
from tests.maintenance.placing_mill import OPENING_FROM, job, on_shift, programme

pytestmark = pytest.mark.django_db
NOW = MONDAY + timedelta(hours=1)
WHY = "the fitter is on leave"


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)


@pytest.fixture
def planner(db: None) -> User:
    planner: User = UserFactory(role="planner", username="vera")
    return planner


def _on(days: int) -> date:
    return MONDAY.date() + timedelta(days=days)


def _again(order: WorkOrder) -> WorkOrder:
    return WorkOrder.objects.get(pk=order.pk)


def _placed(**changes: Any) -> WorkOrder:
    programme(charges=4)
    on_shift()
    order = job(**changes)
    place_all(NOW)
    return _again(order)


def test_a_job_taken_out_stays_out_however_often_the_day_is_worked_out(planner: User) -> None:
    order = _placed()
    take_out_of_plan(order, why=WHY, by=planner, version=order.version)
    summary = run_day()
    again = _again(order)
    assert (summary.left_out, summary.without_place, summary.placed) == (1, 0, 0)
    assert "1 job is left out of the plan by hand." in summary.lines()
    assert (again.state, hasattr(again, "placement"), again.assignments.count()) == ("ready", False, 0)
    assert in_words(again.no_place_why) == f"Left out of the plan by vera on 2 Mar 2026 until it is put back: {WHY}."
    (row,) = unplaced(load_desk(NOW))[1]
    assert in_words(row.why) == in_words(again.no_place_why)


def test_it_is_placed_again_when_it_was_put_back(planner: User) -> None:
    order = _placed()
    take_out_of_plan(order, why=WHY, by=planner)
    put_back_into_plan(order, by=planner)
    assert place_all(NOW).fresh == 1
    acts = [(change.act, change.by) for change in Change.objects.about(order)]
    assert acts[1:] == [
        ("taken out of the plan", planner),
        ("state", None),
        ("put back into the plan", planner),
        ("placed", None),
    ]


def test_from_the_day_named_on_it_may_have_a_place(planner: User) -> None:
    order = _placed()
    assert order.placement.start_at.date() == _on(4)
    take_out_of_plan(order, why=WHY, by=planner, not_before_on=_on(6))
    place_all(NOW)
    assert _again(order).placement.start_at.date() == _on(9)
    assert (
        in_words(say_left_out(_again(order))) == "Not wanted before 8 Mar 2026, said vera on 2 Mar 2026: " + WHY + "."
    )


def test_whoever_puts_it_somewhere_by_hand_puts_it_back(planner: User) -> None:
    order = _placed()
    oda = order.assignments.get().person
    take_out_of_plan(order, why=WHY, by=planner)
    place_by_hand(order, OPENING_FROM + timedelta(hours=2), [oda], by=planner)
    assert _again(order).left_out_at is None


@pytest.mark.parametrize(
    ("safety_days", "not_before_days", "words"),
    [
        (9, None, "cannot be left out past that"),
        (9, 10, "must be done by 11 March 2026"),
        (0, None, "it stays in the plan"),
    ],
)
def test_safety_work_is_not_left_out_past_its_date(
    planner: User, safety_days: int, not_before_days: int | None, words: str
) -> None:
    order = _placed(is_safety=True, safety_at=MONDAY + timedelta(days=safety_days))
    until_on = None if not_before_days is None else _on(not_before_days)
    with pytest.raises(ValidationError, match=words):
        take_out_of_plan(order, why=WHY, by=planner, not_before_on=until_on)
    assert hasattr(_again(order), "placement")


def test_safety_work_may_wait_up_to_its_date(planner: User) -> None:
    order = _placed(is_safety=True, safety_at=MONDAY + timedelta(days=10))
    take_out_of_plan(order, why=WHY, by=planner, not_before_on=_on(9))
    place_all(NOW)
    assert _again(order).placement.start_at.date() == _on(9)


@pytest.mark.parametrize(("why", "days", "words"), [(" ", None, "Say why"), (WHY, 0, "a day after today")])
def test_it_wants_a_reason_and_a_day_ahead(planner: User, why: str, days: int | None, words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        take_out_of_plan(_placed(), why=why, by=planner, not_before_on=None if days is None else _on(days))


def test_only_who_may_place_work_may_leave_it_out() -> None:
    with pytest.raises(PermissionDenied):
        take_out_of_plan(_placed(), why=WHY, by=UserFactory(role="technician"))


def test_the_database_wants_the_reason_too() -> None:
    order = job()
    with pytest.raises(IntegrityError), transaction.atomic():
        WorkOrder.objects.filter(pk=order.pk).update(left_out_at=NOW)
