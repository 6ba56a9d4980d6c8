"""What a recurring task makes of its past: withdrawn occurrences, windows by meter, and work nobody ever recorded."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from maintenance.models import MissedOccurrence, StandingTask, WorkOrder
from maintenance.recurring.calculations.calendar_rules import IntervalRule, Unit
from maintenance.recurring.calculations.meters import Charge, Limit, MeterHistory, MeterRule, Reading
from maintenance.recurring.calculations.passing_over import pass_over
from maintenance.recurring.calculations.past_work import Begun, Completion, PassedOver
from maintenance.recurring.calculations.recurrence import next_due
from maintenance.recurring.calculations.resets import ALWAYS_ANCHORED, ALWAYS_FROM_COMPLETION
from maintenance.recurring.calculations.schedules import Schedule
from maintenance.recurring.editing import make_standing_task
from maintenance.recurring.rolling_on import complete, due_of, histories_for, pass_occurrence_over, roll
from maintenance.work.course import withdraw
from plant.models import Change, MeterReading, User
from plant.templatetags.said import said as in_words
from tests.factories import MONDAY, ChargeFactory, KilnFactory, TaskSheetFactory, UserFactory
from tests.maintenance.placing_mill import standing

pytestmark = pytest.mark.django_db
NOW = MONDAY + timedelta(hours=1)
TODAY = MONDAY.date()
ONLY_HOURS: dict[str, Any] = {"every": None, "every_unit": "", "window_before_days": 0, "window_after_days": 0}


@pytest.fixture
def clock_at(monkeypatch: pytest.MonkeyPatch) -> Any:
    def stand(days: int) -> None:
        monkeypatch.setattr("plant.clock.now", lambda: NOW + timedelta(days=days))

    stand(0)
    return stand


@pytest.fixture
def planner(clock_at: Any) -> User:
    planner: User = UserFactory(role="planner")
    return planner


def _on(days: int) -> date:
    return TODAY + timedelta(days=days)


def _again(task: StandingTask) -> StandingTask:
    return StandingTask.objects.get(pk=task.pk)


def _read(kiln: Any, **hours_by_day: float) -> None:
    for day, hours in hours_by_day.items():
        at = MONDAY + timedelta(days=int(day.strip("d_").replace("m", "-")))
        MeterReading.objects.create(kiln=kiln, read_at=at, running_h=Decimal(str(hours)))


def _withdrawn(order: WorkOrder, by: User) -> WorkOrder:
    return withdraw(order, by=by, version=order.version, why="the fan is new")


# --- withdrawn occurrences ------------------------------------------------------------------------


def test_a_withdrawn_occurrence_by_hours_is_not_raised_again_when_the_prediction_shifts(
    planner: User, clock_at: Any
) -> None:
    kiln = KilnFactory()
    task = standing(kiln=kiln, **ONLY_HOURS, every_running_h=480, last_done_on=_on(-10))
    _read(kiln, dm30=0, dm10=480, d0=720)
    (order,) = roll(TODAY).raised
    assert order.occurrence_on == _on(10)
    _withdrawn(order, planner)
    # It was due at 480 h since the last work; the next one is due at 960 h.
    again = _again(task)
    assert (again.passed_over_on, again.passed_over_running_h, again.next_due_on) == (_on(10), 480, _on(30))
    # The kiln runs more slowly than was thought: the withdrawn one would be predicted for another day.
    clock_at(5)
    _read(kiln, d5=770)
    (following,) = roll(_on(5)).raised
    assert following.occurrence_on is not None
    assert following.occurrence_on > _on(30)
    assert roll(_on(5)).raised == ()
    act = Change.objects.about(task).get()
    assert (act.act, act.by) == ("occurrence withdrawn", planner)


def test_the_next_one_by_charges_counts_on_from_what_was_withdrawn(planner: User) -> None:
    kiln = KilnFactory()
    for days in (-12, -6):
        ChargeFactory(kiln=kiln, basis="done", begin_at=MONDAY + timedelta(days=days), days=4)
    for days in range(0, 42, 6):
        ChargeFactory(kiln=kiln, begin_at=MONDAY + timedelta(days=days), days=4)
    task = standing(kiln=kiln, **ONLY_HOURS, every_charges=3, last_done_on=_on(-7))
    (order,) = roll(TODAY).raised
    assert order.occurrence_on == _on(10)
    _withdrawn(order, planner)
    assert _again(task).next_due_on == _on(28)
    assert roll(TODAY).raised[0].occurrence_on == _on(28)


def test_a_withdrawn_date_gives_way_to_the_next_and_does_not_count_as_missed(planner: User, clock_at: Any) -> None:
    task = standing()
    _withdrawn(roll(TODAY).raised[0], planner)
    assert _again(task).next_due_on == _on(42)
    assert roll(TODAY).raised[0].occurrence_on == _on(42)
    clock_at(20)
    assert (roll(_on(20)).missed, MissedOccurrence.objects.count()) == (0, 0)


def test_withdrawing_a_catch_up_settles_all_that_it_stood_for(planner: User) -> None:
    task = standing(anchor_on=_on(-29), every=1, every_unit="week", window_before_days=2, window_after_days=1)
    (order,) = roll(TODAY).raised
    _withdrawn(order, planner)
    assert _again(task).next_due_on == _on(6)


def test_work_done_after_that_counts_as_ever(planner: User) -> None:
    task = standing(reset_early="anchored")
    _withdrawn(roll(TODAY).raised[0], planner)
    complete(_again(task), _on(40))
    assert (_again(task).next_due_on, _again(task).passed_over_on) == (_on(70), None)


def test_an_occurrence_behind_the_last_work_settles_nothing(planner: User) -> None:
    task = standing()
    (order,) = roll(TODAY).raised
    complete(task, _on(20))
    before = _again(task).next_due_on
    pass_occurrence_over(order, by=planner)
    assert _again(task).next_due_on == before


def _hours(*charges: Charge, value: float = 0) -> MeterHistory:
    return MeterHistory(Limit.RUNNING_HOURS, (Reading(_on(-100), 0), Reading(TODAY, value)), charges)


@pytest.mark.parametrize("resets", [ALWAYS_ANCHORED, ALWAYS_FROM_COMPLETION])
def test_in_a_race_every_limit_counts_on_from_what_was_withdrawn(resets: Any) -> None:
    rule = IntervalRule(6, Unit.MONTHS, _on(-100))
    schedule = Schedule(rule, (MeterRule(Limit.RUNNING_HOURS, 1200),), resets=resets)
    history = _hours(value=1000)
    done = Completion(_on(-100), hours=0, due_on=_on(-100), due_hours=0)
    due = next_due(schedule, done, TODAY, [history])
    assert due.due_on == _on(20)
    passed = pass_over(schedule, due, _on(20), TODAY)
    assert (passed.on, passed.hours) == (_on(20), 1200)
    after = next_due(schedule, done, TODAY, [history], Begun(passed_over=passed))
    hours, calendar = after.limit(Limit.RUNNING_HOURS), after.limit(Limit.CALENDAR)
    assert hours is not None and calendar is not None
    assert (hours.due_on, calendar.due_on) == (_on(140), date(2026, 9, 22))


def test_what_was_due_several_times_over_is_given_up_at_once() -> None:
    schedule = Schedule(meters=(MeterRule(Limit.RUNNING_HOURS, 300),))
    due = next_due(schedule, None, TODAY, [_hours(value=1000)])
    assert pass_over(schedule, due, _on(-70), TODAY) == PassedOver(TODAY, 900, None)


# --- windows in hours and charges -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("done_at_h", "next_due_h", "practice"),
    [(110, 200, ("completion", "anchored", "anchored")), (87, 187, ("completion", "anchored", "anchored"))],
)
def test_hours_and_their_window_agree_with_an_engine_makers_manual(
    clock_at: Any, done_at_h: int, next_due_h: int, practice: tuple[str, str, str]
) -> None:
    """An engine maker's line maintenance manual, section on time limits: every 100 h, 10 h to each side.

    Done at 110 h the next is due at 200 h; done at 87 h, before its window, at 187 h.
    """
    kiln = KilnFactory()
    fields = dict(zip(("reset_early", "reset_inside", "reset_late"), practice, strict=True))
    task = standing(
        kiln=kiln,
        **ONLY_HOURS,
        **fields,
        every_running_h=100,
        window_before_running_h=10,
        window_after_running_h=10,
        last_done_on=_on(-20),
    )
    _read(kiln, dm20=0, d0=done_at_h)
    complete(task, TODAY)
    again = _again(task)
    assert again.last_due_running_h == 100
    due = due_of(again, TODAY, histories_for([again], TODAY)).limit(Limit.RUNNING_HOURS)
    assert due is not None and due.due_reading == next_due_h


def test_the_work_order_may_be_done_inside_the_window_of_hours(clock_at: Any) -> None:
    kiln = KilnFactory()
    standing(
        kiln=kiln,
        **ONLY_HOURS,
        every_running_h=480,
        window_before_running_h=120,
        window_after_running_h=48,
        last_done_on=_on(-10),
        is_safety=True,
    )
    _read(kiln, dm30=0, dm10=480, d0=720)
    (order,) = roll(TODAY).raised
    # 24 h a day: due in 10 days, 120 h are 5 days before, 48 h 2 days after.
    assert order.earliest_at is not None and order.safety_at is not None
    assert order.occurrence_on == _on(10)
    assert (order.earliest_at + timedelta(hours=12)).date() == _on(5)
    assert order.safety_at.date() == _on(12)


@pytest.mark.parametrize(
    "fields",
    [
        {"every_running_h": 100, "window_before_running_h": 100},
        {"every_charges": 4, "window_before_charges": 4},
        {"every": 4, "every_unit": "week", "window_after_charges": 1},
    ],
)
def test_the_database_refuses_a_window_that_does_not_fit_its_interval(clock_at: Any, fields: dict[str, Any]) -> None:
    given = {**ONLY_HOURS, **fields}
    with pytest.raises(IntegrityError), transaction.atomic():
        standing(**given)


def _filled(**changes: Any) -> dict[str, Any]:
    given = {"anchor_on": "2026-03-31", "month_end": "last_day", "practice": "early_from_completion", "version": 0}
    return {**given, "window_before_days": 0, "window_after_days": 0, **changes}


def _form_url() -> str:
    sheet, kiln = TaskSheetFactory(), KilnFactory()
    return reverse("maintenance:standing-task-new") + f"?sheet={sheet.code}&kiln={kiln.tag}"


def test_the_form_takes_windows_in_hours_and_the_page_says_them(client: Client, planner: User) -> None:
    client.force_login(planner)
    said = _filled(every_running_h=100, window_before_running_h=10, window_after_running_h=10)
    client.post(_form_url(), said)
    task = StandingTask.objects.get()
    assert (task.window_before_running_h, task.window_after_running_h, task.window_before_charges) == (10, 10, 0)
    page = client.get(task.get_absolute_url()).content.decode()
    assert "10 running hours before to 10 after those it is due at" in page


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"every_running_h": 100, "window_before_running_h": 100}, "shorter than from one work to the next"),
        ({"every": 1, "every_unit": "week", "window_after_charges": 2}, "or leave this window empty"),
    ],
)
def test_the_form_says_what_does_not_fit(client: Client, planner: User, fields: dict[str, Any], words: str) -> None:
    client.force_login(planner)
    assert words in client.post(_form_url(), _filled(**fields)).content.decode()
    assert not StandingTask.objects.exists()


# --- never done so far ----------------------------------------------------------------------------


def test_a_new_task_with_an_old_first_date_gives_one_catch_up_due_today(planner: User) -> None:
    task = StandingTask(
        sheet=TaskSheetFactory(), kiln=KilnFactory(), anchor_on=date(2024, 1, 15), every=1, every_unit="month"
    )
    make_standing_task(task, by=planner)
    (order,) = roll(TODAY).raised
    assert (order.occurrence_on, MissedOccurrence.objects.count()) == (TODAY, 0)
    assert "Never done as far as is known: once now" in in_words(order.why)


def test_the_catch_up_keeps_its_day_and_what_passes_after_it_is_missed(planner: User, clock_at: Any) -> None:
    task = standing(anchor_on=date(2024, 1, 15), every=1, every_unit="month", entered_on=TODAY)
    roll(TODAY)
    clock_at(60)
    assert roll(_on(60)).missed == 2
    assert _again(task).next_due_on == TODAY
    assert [row.due_on for row in task.missed.all()] == [date(2026, 3, 15), date(2026, 4, 15)]


def test_the_catch_up_stands_for_the_last_date_before_it(clock_at: Any) -> None:
    """Anchored when late, the dates stay: the catch-up of 2 March stands for 15 February."""
    task = standing(
        anchor_on=date(2024, 1, 15), every=1, every_unit="month", entered_on=TODAY, window_before_days=0,
        reset_early="completion", reset_late="anchored",
    )  # fmt: skip
    complete(task, TODAY)
    assert (_again(task).last_due_on, _again(task).next_due_on) == (date(2026, 2, 15), date(2026, 3, 15))


def test_hours_that_were_reached_long_ago_are_due_when_the_task_is_entered(clock_at: Any) -> None:
    kiln = KilnFactory()
    task = standing(kiln=kiln, **ONLY_HOURS, every_running_h=480, entered_on=TODAY)
    _read(kiln, dm400=0, d0=5000)
    assert due_of(task, TODAY, histories_for([task], TODAY)).due_on == TODAY


def test_work_known_to_be_overdue_says_since_when(clock_at: Any) -> None:
    task = standing(last_done_on=_on(-80), anchor_on=_on(-80), every=4, every_unit="week", entered_on=TODAY)
    (order,) = roll(TODAY).raised
    assert order.occurrence_on == _on(-52)
    assert not task.missed.exists()
