"""One date of a recurring task is skipped, moved, taken back; the day's run respects it and raises nothing twice."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.test import Client

from maintenance.models import ChangedDate, StandingTask, WorkOrder
from maintenance.plans.places import has_place
from maintenance.plans.placing_all import place_all
from maintenance.recurring.coming import coming_dates
from maintenance.recurring.rolling_on import complete, refresh_due, roll
from maintenance.work.changing_dates import move_date, skip_date, take_change_back
from plant.basics.sentences import Sentence
from plant.models import Change, MeterReading, User
from tests.factories import MONDAY, KilnFactory, MillFactory, TaskSheetFactory, UserFactory
from tests.maintenance.placing_mill import on_shift, programme, standing

pytestmark = pytest.mark.django_db
TODAY = MONDAY.date()
FIRST, SECOND, THIRD = (TODAY + timedelta(days=14 + 28 * n) for n in range(3))


@pytest.fixture(autouse=True)
def now(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: MONDAY + timedelta(hours=1))


@pytest.fixture
def oda() -> User:
    user: User = UserFactory(username="oda", role="planner")
    return user


@pytest.fixture
def task() -> StandingTask:
    """Every four weeks, ten days before to seven days after; done once, so that it is on its series."""
    mill = MillFactory(horizon_days=21)
    made = standing(kiln=KilnFactory(mill=mill))
    refresh_due([made], TODAY)
    return made


def fresh(task: StandingTask) -> StandingTask:
    return StandingTask.objects.get(pk=task.pk)


def shown(task: StandingTask) -> list[date]:
    """The coming dates on which work is due."""
    dates, _why = coming_dates(fresh(task), TODAY)
    return [one.on for one in dates if not (one.change and one.change.is_skipped)]


def skip(task: StandingTask, on: date, by: User, why: str = "The crew is away.") -> ChangedDate:
    return skip_date(fresh(task), on, why, version=fresh(task).version, by=by)


def move(task: StandingTask, on: date, to_on: date, by: User) -> ChangedDate:
    return move_date(fresh(task), on, to_on, "The crew is away.", version=fresh(task).version, by=by)


def raised(task: StandingTask) -> list[tuple[date | None, str]]:
    orders = WorkOrder.objects.filter(standing_task=task).order_by("pk")
    return [(one.occurrence_on, one.state) for one in orders]


def test_a_skipped_date_is_passed_by_the_days_run(task: StandingTask, oda: User) -> None:
    skip(task, FIRST, oda)
    assert fresh(task).next_due_on == SECOND
    assert roll(TODAY).raised == ()
    assert shown(task)[:2] == [SECOND, THIRD]
    assert Change.objects.about(task).filter(act="date skipped", by=oda, note="The crew is away.").exists()


def test_a_skipped_date_that_is_over_is_shown_so_that_it_can_be_taken_back(oda: User) -> None:
    late = standing(kiln=KilnFactory(mill=MillFactory()), anchor_on=TODAY - timedelta(days=3))
    refresh_due([late], TODAY)
    skip(late, TODAY - timedelta(days=3), oda)
    dates, _why = coming_dates(fresh(late), TODAY)
    assert [(one.on, bool(one.change)) for one in dates][:2] == [
        (TODAY - timedelta(days=3), True),
        (TODAY + timedelta(days=25), False),
    ]


def test_a_date_further_on_is_skipped_when_it_comes(task: StandingTask, oda: User) -> None:
    skip(task, SECOND, oda)
    assert shown(task)[:2] == [FIRST, THIRD]
    complete(fresh(task), FIRST, by=oda)
    assert fresh(task).next_due_on == THIRD


def test_the_job_of_a_skipped_date_is_withdrawn_and_raised_once_more_when_that_is_taken_back(
    task: StandingTask, oda: User
) -> None:
    roll(TODAY)
    assert raised(task) == [(FIRST, "raised")]
    change = skip(task, FIRST, oda)
    roll(TODAY)
    assert raised(task) == [(FIRST, "withdrawn")]

    take_change_back(change, by=oda)
    take_change_back(change, by=oda)
    assert fresh(task).next_due_on == FIRST
    for _again in range(2):
        roll(TODAY)
    assert raised(task) == [(FIRST, "withdrawn"), (FIRST, "raised")]


def test_a_moved_date_takes_its_job_along_and_leaves_the_series(task: StandingTask, oda: User) -> None:
    roll(TODAY)
    to_on = FIRST + timedelta(days=12)
    change = move(task, FIRST, to_on, oda)
    (order,) = WorkOrder.objects.filter(standing_task=task)
    assert (order.due_at.date(), order.occurrence_on) == (to_on, FIRST)
    assert shown(task)[:2] == [to_on, SECOND]
    assert fresh(task).next_due_on == to_on
    roll(TODAY)
    assert len(raised(task)) == 1

    take_change_back(change, by=oda)
    order.refresh_from_db()
    assert order.due_at.date() == FIRST
    assert shown(task)[0] == FIRST
    kept = Change.objects.about(order).filter(act="changed").last()
    assert kept and (kept.note, kept.said) == ("", (Sentence.of("task.date_stands", due_on=FIRST),))


def test_the_job_of_a_date_that_was_moved_before_is_raised_for_the_new_day(task: StandingTask, oda: User) -> None:
    to_on = FIRST - timedelta(days=3)
    move(task, FIRST, to_on, oda)
    for _again in range(2):
        roll(TODAY)
    (order,) = WorkOrder.objects.filter(standing_task=task)
    assert (order.due_at.date(), order.occurrence_on) == (to_on, FIRST)


@pytest.mark.parametrize("days", [-13, 12])
def test_work_on_a_moved_date_counts_as_in_time_though_it_is_outside_the_window(
    task: StandingTask, oda: User, days: int
) -> None:
    StandingTask.objects.filter(pk=task.pk).update(reset_inside="anchored", reset_early="completion")
    to_on = FIRST + timedelta(days=days)
    move(task, FIRST, to_on, oda)
    complete(fresh(task), to_on, by=oda)
    assert fresh(task).next_due_on == SECOND


def test_a_date_can_be_moved_again(task: StandingTask, oda: User) -> None:
    move(task, FIRST, FIRST + timedelta(days=1), oda)
    move(task, FIRST, FIRST + timedelta(days=2), oda)
    assert shown(task)[0] == FIRST + timedelta(days=2)
    assert ChangedDate.objects.filter(taken_back_at__isnull=True).count() == 1


@pytest.mark.parametrize(
    ("to_on", "said"),
    [
        (TODAY - timedelta(days=1), "This day is over"),
        (FIRST, "due on that day already"),
        (SECOND, "due again"),
        (SECOND + timedelta(days=3), "due again"),
    ],
)
def test_a_day_that_cannot_be_is_refused(task: StandingTask, oda: User, to_on: date, said: str) -> None:
    with pytest.raises(ValidationError, match=said):
        move(task, FIRST, to_on, oda)


def test_safety_work_is_never_skipped_and_moved_to_its_last_day_at_most(task: StandingTask, oda: User) -> None:
    StandingTask.objects.filter(pk=task.pk).update(is_safety=True)
    last = FIRST + timedelta(days=7)
    with pytest.raises(ValidationError, match="cannot be skipped"):
        skip(task, FIRST, oda)
    with pytest.raises(ValidationError, match="the last day on which it may be done"):
        move(task, FIRST, last + timedelta(days=1), oda)
    move(task, FIRST, FIRST - timedelta(days=3), oda)
    roll(TODAY)
    (order,) = WorkOrder.objects.filter(standing_task=task)
    assert order.safety_at
    assert (order.due_at.date(), order.safety_at.date()) == (FIRST - timedelta(days=3), last)


def test_a_proof_test_is_never_skipped(oda: User) -> None:
    made = standing(sheet=TaskSheetFactory(is_proof_test=True), kiln=KilnFactory(mill=MillFactory()))
    refresh_due([made], TODAY)
    with pytest.raises(ValidationError, match="cannot be skipped"):
        skip(made, FIRST, oda)


def test_what_has_begun_stays(task: StandingTask, oda: User) -> None:
    roll(TODAY)
    WorkOrder.objects.filter(standing_task=task).update(state="under_way", started_at=MONDAY)
    with pytest.raises(ValidationError, match="under way"):
        skip(task, FIRST, oda)
    with pytest.raises(ValidationError, match="under way"):
        move(task, FIRST, FIRST + timedelta(days=1), oda)
    assert not ChangedDate.objects.exists()


def test_without_a_reason_or_over_a_stale_page_nothing_is_changed(task: StandingTask, oda: User) -> None:
    with pytest.raises(ValidationError, match="Say why"):
        skip(task, FIRST, oda, why=" ")
    stale = fresh(task).version
    move(task, FIRST, FIRST + timedelta(days=1), oda)
    with pytest.raises(ValidationError, match="changed this meanwhile"):
        skip_date(fresh(task), SECOND, "Away.", version=stale, by=oda)
    with pytest.raises(ValidationError, match="no coming date"):
        skip(task, FIRST + timedelta(days=5), oda)


def test_a_skip_cannot_be_taken_back_once_work_was_done_since(task: StandingTask, oda: User) -> None:
    change = skip(task, FIRST, oda)
    complete(fresh(task), FIRST + timedelta(days=1), by=oda)
    with pytest.raises(ValidationError, match="It was done on"):
        take_change_back(change, by=oda)


def metered(**more: Any) -> StandingTask:
    """A task every 500 running hours on a kiln that runs 20 hours a day."""
    kiln = KilnFactory(mill=MillFactory(horizon_days=21))
    for days in (40, 20, 0):
        at = MONDAY - timedelta(days=days)
        MeterReading.objects.create(kiln=kiln, read_at=at, running_h=Decimal(1000 + 20 * (40 - days)))
    made = standing(kiln=kiln, every=None, every_unit="", every_running_h=500, last_done_on=TODAY - timedelta(days=20))
    StandingTask.objects.filter(pk=made.pk).update(last_done_running_h=Decimal(1400), **more)
    made.refresh_from_db()
    made.window_before_days = made.window_after_days = 0
    made.save()
    refresh_due([made], TODAY)
    return made


def test_of_running_hours_the_next_date_is_skipped_at_the_use_at_which_it_was_due(oda: User) -> None:
    made = metered()
    first = fresh(made).next_due_on
    assert first
    change = skip(made, first, oda)
    second = fresh(made).next_due_on
    assert second
    # 500 hours more at 20 a day.
    assert second - first == timedelta(days=25)
    take_change_back(change, by=oda)
    assert fresh(made).next_due_on == first
    with pytest.raises(ValidationError, match="shifts by itself"):
        move(made, first, first + timedelta(days=1), oda)


# --- on the page ----------------------------------------------------------------------------------


def test_a_date_is_skipped_and_taken_back_on_the_page(task: StandingTask, oda: User, client: Client) -> None:
    client.force_login(oda)
    url = f"{task.get_absolute_url()}dates/{FIRST}/"
    assert "is skipped" in client.get(url).content.decode()
    sent = {"what": "skip", "to_on": "", "why": "The crew is away.", "version": fresh(task).version}
    text = client.post(url, sent, follow=True).content.decode()
    assert "Take back" in text
    assert "The crew is away." in text
    change = ChangedDate.objects.get()
    text = client.post(f"{task.get_absolute_url()}dates/{change.pk}/back/", follow=True).content.decode()
    assert "Take back" not in text
    assert fresh(task).next_due_on == FIRST


def test_the_page_asks_to_which_day_and_offers_no_skip_for_safety_work(
    task: StandingTask, oda: User, client: Client
) -> None:
    client.force_login(oda)
    url = f"{task.get_absolute_url()}dates/{FIRST}/"
    sent = {"what": "move", "to_on": "", "why": "Away.", "version": fresh(task).version}
    assert "To which day?" in client.post(url, sent).content.decode()
    StandingTask.objects.filter(pk=task.pk).update(is_safety=True)
    assert "is skipped" not in client.get(url).content.decode()
    text = client.post(url, {**sent, "what": "skip"}).content.decode()
    assert "nothing else can become" in text
    assert not ChangedDate.objects.exists()


def test_whoever_moves_a_date_hears_which_job_loses_its_place_and_sees_its_new_day(
    task: StandingTask, oda: User, client: Client
) -> None:
    programme(task.kiln)
    on_shift("per")
    roll(TODAY)
    place_all(MONDAY + timedelta(hours=1))
    order = WorkOrder.objects.get(standing_task=task)
    assert has_place(order)
    client.force_login(oda)
    url = f"{task.get_absolute_url()}dates/{FIRST}/"

    def move_to(to_on: date) -> str:
        sent = {"what": "move", "to_on": str(to_on), "why": "The crew is away.", "version": fresh(task).version}
        return client.post(url, sent, follow=True).content.decode()

    assert "lost its place" not in move_to(FIRST - timedelta(days=1))
    text = move_to(FIRST + timedelta(days=12))
    assert not has_place(WorkOrder.objects.get(pk=order.pk))
    assert f'1 job lost its place: <a href="{order.get_absolute_url()}">{order}</a> (Had a place on' in text
    row = text[text.index(">For<") :]
    assert f"{FIRST + timedelta(days=12):%a} {(FIRST + timedelta(days=12)).day} " in row
    assert f"moved from {FIRST:%a} {FIRST.day} " in row
