"""The day's work: dates roll forward, work is raised once, what passed is recorded, what is late is shouted about."""

import threading
import uuid
from datetime import date, timedelta
from decimal import Decimal
from io import StringIO
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.core.management import CommandError, call_command
from django.db import connection

from inventory.models import ReorderAdvice, Reservation
from maintenance.day.run import run_day
from maintenance.models import DayRun, MissedOccurrence, Placement, ProofTest, StandingTask, TaskPart, WorkOrder
from maintenance.recurring.rolling_on import complete, due_of, foresee_parts, histories_for, refresh_due, roll
from maintenance.tasks import work_out_day
from plant.frame.saying import say
from plant.models import Change, MeterReading
from plant.templatetags.said import said as in_words
from tests.factories import (
    MONDAY,
    ChargeFactory,
    ComponentFactory,
    ComponentKindFactory,
    KilnFactory,
    MillFactory,
    PartFactory,
    PartKindFactory,
    PersonFactory,
    SupplierTermsFactory,
    TaskSheetFactory,
    UserFactory,
)
from tests.maintenance.placing_mill import on_shift, programme, standing

pytestmark = pytest.mark.django_db
NOW = MONDAY + timedelta(hours=1)
TODAY = MONDAY.date()


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)


def _again(task: StandingTask) -> StandingTask:
    return StandingTask.objects.get(pk=task.pk)


def _on(days: int) -> date:
    return TODAY + timedelta(days=days)


# --- rolling --------------------------------------------------------------------------------------


def test_the_next_occurrence_is_raised_with_its_dates() -> None:
    task = standing(cost_of_delay_per_day=Decimal(12))
    rolled = roll(TODAY)
    order = WorkOrder.objects.get()
    assert rolled.raised == (order,)
    assert (order.standing_task, order.occurrence_on, order.origin) == (task, _on(14), "standing_task")
    assert order.due_at.date() == _on(14)
    # Its window opens ten days before.
    assert order.earliest_at is not None
    assert order.earliest_at.date() == _on(3)
    assert order.cost_of_delay_per_day == 12


def test_only_one_work_order_of_a_task_is_open_and_the_rest_is_counted() -> None:
    standing(every=1, every_unit="week", window_before_days=2, window_after_days=1)
    rolled = roll(TODAY)
    assert (len(rolled.raised), rolled.following) == (1, 6)
    assert roll(TODAY).raised == ()


def test_what_lies_behind_the_horizon_is_not_raised() -> None:
    standing(anchor_on=_on(57))
    assert roll(TODAY).raised == ()


def test_safety_work_must_be_done_by_the_end_of_its_window() -> None:
    standing(is_safety=True)
    roll(TODAY)
    order = WorkOrder.objects.get()
    assert order.is_safety
    assert order.safety_at is not None
    assert order.safety_at.date() == _on(21)


def test_missed_dates_are_recorded_once_and_give_one_catch_up() -> None:
    task = standing(anchor_on=_on(-29), every=1, every_unit="week", window_before_days=2, window_after_days=1)
    rolled = roll(TODAY)
    assert WorkOrder.objects.get().occurrence_on == _on(-29)
    assert [row.due_on for row in task.missed.all()] == [_on(-22), _on(-15), _on(-8)]
    assert rolled.missed == 3
    assert roll(TODAY).missed == 0


def test_a_withdrawn_occurrence_gives_way_to_the_next() -> None:
    standing()
    roll(TODAY)
    WorkOrder.objects.update(state="withdrawn", withdrawn_why="the kiln is empty until April")
    (order,) = roll(TODAY).raised
    assert order.occurrence_on == _on(42)


def test_a_task_that_no_longer_recurs_raises_nothing() -> None:
    standing(is_active=False)
    assert roll(TODAY).raised == ()


def test_a_rule_that_cannot_be_followed_is_named_and_stops_no_other() -> None:
    standing(code="ill", every=None, every_unit="", rrule="FREQ=FORTNIGHTLY", is_safety=True)
    standing(code="well")
    summary = run_day()
    assert len(summary.raised) == 1
    assert any(
        "cannot be followed" in in_words(shout["said"]) and shout["level"] == "alarm" for shout in summary.shouts
    )


def test_later_occurrences_foresee_their_parts() -> None:
    part = PartFactory()
    task = standing()
    TaskPart.objects.create(sheet=task.sheet, part_kind=PartKindFactory(), quantity=Decimal(2))
    roll(TODAY)
    assert Reservation.objects.set_aside().get().needed_on == _on(14)
    assert [(row.part, row.needed_on) for row in Reservation.objects.foreseen()] == [(part, _on(42))]
    foresee_parts([], {})
    assert not Reservation.objects.foreseen().exists()


def test_running_hours_are_predicted_from_readings() -> None:
    kiln = KilnFactory()
    task = standing(kiln=kiln, every=None, every_unit="", every_running_h=480, last_done_on=_on(-10))
    for days in (-30, -10, 0):
        MeterReading.objects.create(kiln=kiln, read_at=MONDAY + timedelta(days=days), running_h=(30 + days) * 24)
    refresh_due([task], TODAY)
    # 240 of 480 hours are gone at 24 h a day.
    assert _again(task).next_due_on == _on(10)
    assert "240 h of 480 h left" in say(_again(task).next_due_why)


def test_charges_are_counted_from_the_programme() -> None:
    kiln = KilnFactory()
    for days in (-12, -6):
        ChargeFactory(kiln=kiln, basis="done", begin_at=MONDAY + timedelta(days=days), days=4)
    for days in (0, 6, 12):
        ChargeFactory(kiln=kiln, begin_at=MONDAY + timedelta(days=days), days=4)
    task = standing(kiln=kiln, every=None, every_unit="", every_charges=3, last_done_on=_on(-7))
    due = due_of(task, TODAY, histories_for([task], TODAY))
    # One charge has ended since; the third ends on day ten.
    assert due.due_on == _on(10)
    assert "2 charges of 3 charges left" in say(due.reason)


# --- completion -----------------------------------------------------------------------------------


def test_work_inside_its_window_leaves_the_series_where_it_was() -> None:
    task = standing(next_due_on=_on(14))
    complete(task, _on(12))
    assert _again(task).next_due_on == _on(42)
    assert refresh_due([_again(task)], TODAY) == []
    assert _again(task).next_due_on == _on(42)


def test_work_done_too_early_counts_afresh_by_the_default_rule() -> None:
    task = standing(next_due_on=_on(14))
    complete(task, _on(1))
    assert _again(task).next_due_on == _on(29)


def test_early_work_of_an_anchored_series_settles_its_date_also_when_worked_out_again() -> None:
    task = standing(next_due_on=_on(14), reset_early="anchored", window_before_days=2)
    complete(task, _on(1))
    refresh_due([_again(task)], TODAY)
    assert _again(task).next_due_on == _on(42)


def test_late_work_records_what_was_missed() -> None:
    task = standing(anchor_on=_on(-29), every=1, every_unit="week", window_before_days=0, window_after_days=0)
    complete(task, _on(-3))
    assert list(MissedOccurrence.objects.values_list("due_on", flat=True)) == [_on(-22), _on(-15), _on(-8)]
    assert _again(task).next_due_on == _on(4)


def test_completion_is_on_record_and_an_older_one_changes_nothing() -> None:
    task = standing()
    complete(task, _on(10), by=UserFactory(role="technician"))
    assert Change.objects.about(task).get().act == "done"
    assert complete(_again(task), _on(2)) is None
    assert _again(task).last_done_on == _on(10)


# --- the day --------------------------------------------------------------------------------------


def test_the_day_raises_places_and_advises_in_one_turn() -> None:
    programme(charges=4)
    on_shift()
    part = PartFactory()
    SupplierTermsFactory(part=part)
    task = standing()
    TaskPart.objects.create(sheet=task.sheet, part_kind=PartKindFactory(), quantity=Decimal(2))
    steps: list[int] = []
    summary = run_day(progress=lambda done, total, note="": steps.append(done))
    assert summary.raised == ["WO-0001"]
    # It waits for a part that takes three weeks, and has its place after that.
    assert (summary.waiting_for_parts, summary.placed, summary.to_order) == (1, 1, 1)
    assert Placement.objects.get().start_at.date() == _on(22)
    assert WorkOrder.objects.get().state == "placed"
    assert ReorderAdvice.objects.get(part=part).order_quantity > 0
    assert steps == [0, 1, 2, 3, 4, 5, 6]
    run = DayRun.objects.get()
    assert run.finished_at is not None
    assert run.summary["raised"] == ["WO-0001"]


def test_a_second_run_raises_and_moves_nothing() -> None:
    programme(charges=4)
    on_shift()
    standing()
    run_day()
    before = list(WorkOrder.objects.values())
    summary = run_day()
    assert (summary.raised, summary.placed, summary.placed_anew, summary.moved) == ([], 1, 0, 0)
    assert list(WorkOrder.objects.values()) == before


def test_a_dry_run_says_the_same_and_keeps_nothing() -> None:
    standing()
    assert run_day(is_dry=True).raised == ["WO-0001"]
    assert not WorkOrder.objects.exists()
    assert not DayRun.objects.exists()


def test_the_auditor_may_not_run_the_day() -> None:
    MillFactory()
    with pytest.raises(PermissionDenied):
        run_day(by=UserFactory(role="auditor"))


def _proof_test(days: int, outcome: str = "passed") -> None:
    kind = ComponentKindFactory(code="escape-door")
    TaskSheetFactory(code="escape-door-proof-test", kind=kind, is_proof_test=True)
    component = ComponentFactory(kind=kind, tag="door-1", name="escape door")
    ProofTest.objects.create(
        key=uuid.uuid4(),
        component=component,
        tested_at=MONDAY - timedelta(days=90),
        tested_by=PersonFactory(),
        outcome=outcome,
        seal_no="A-17" if outcome == "passed" else "",
        next_due_on=_on(days),
    )


@pytest.mark.parametrize(
    ("days", "outcome", "level", "words"),
    [
        (-1, "passed", "alarm", "Proof test overdue: K1 escape door (1 Mar 2026)."),
        (5, "passed", "mind", "Proof test due soon: K1 escape door (7 Mar 2026)."),
        (40, "failed", "alarm", "Failed its last proof test"),
    ],
)
def test_proof_tests_that_are_late_failed_or_near_are_said(days: int, outcome: str, level: str, words: str) -> None:
    _proof_test(days, outcome)
    (shout,) = run_day().shouts
    assert shout["level"] == level
    assert words in in_words(shout["said"])


def test_a_proof_test_in_good_time_is_not_worth_a_word() -> None:
    _proof_test(40)
    assert run_day().shouts == []


def test_a_door_that_was_never_proved_is_an_alarm() -> None:
    kind = ComponentKindFactory(code="escape-door")
    TaskSheetFactory(code="escape-door-proof-test", kind=kind, is_proof_test=True)
    ComponentFactory(kind=kind, tag="door-1", name="escape door")
    (shout,) = run_day().shouts
    assert "No proof test is on record: K1 escape door" in in_words(shout["said"])


def test_alarms_come_first_in_the_printed_summary() -> None:
    _proof_test(-1)
    standing()
    on_shift()
    out = StringIO()
    call_command("daily", "--dry-run", stdout=out)
    lines = out.getvalue().splitlines()
    assert "nothing was changed" in lines[0]
    assert lines[1].startswith("!! Proof test overdue: K1 escape door")
    assert any("1 work order raised (WO-0001)" in line for line in lines)


def test_the_command_refuses_a_day_that_is_none_and_a_mill_that_is_not_there() -> None:
    with pytest.raises(CommandError, match="YYYY-MM-DD"):
        call_command("daily", "--today", "tomorrow")
    with pytest.raises(CommandError, match="No mill is loaded"):
        call_command("daily")


def test_the_background_task_runs_the_day() -> None:
    standing()
    assert work_out_day(progress=lambda *a, **k: None, day=TODAY.isoformat())["raised"] == ["WO-0001"]


def test_rolling_asks_the_database_no_more_for_many_tasks_that_are_not_due(
    django_assert_max_num_queries: Any,
) -> None:
    for n in range(12):
        standing(code=f"t{n}", anchor_on=_on(90), next_due_on=_on(90))
        standing(code=f"h{n}", every=None, every_unit="", every_running_h=4000)
    with django_assert_max_num_queries(19):
        roll(TODAY)


@pytest.mark.postgresql
@pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite has one writer at a time")
@pytest.mark.django_db(transaction=True)
def test_two_runs_at_once_raise_nothing_twice() -> None:
    programme(charges=4)
    on_shift()
    for n in range(4):
        standing(code=f"t{n}", kiln=KilnFactory(tag=f"K{n + 1}"))
    start = threading.Barrier(2)
    failures: list[BaseException] = []

    def run() -> None:
        try:
            start.wait()
            run_day()
        except BaseException as failure:  # noqa: BLE001  handed to the test's own thread
            failures.append(failure)
        finally:
            connection.close()

    threads = [threading.Thread(target=run) for _n in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    assert WorkOrder.objects.count() == 4
    assert sorted(len(run.summary["raised"]) for run in DayRun.objects.all()) == [0, 4]
