"""One job, once: watch, finding and recurring task that ask for the same work join in one work order."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from itertools import permutations
from threading import Barrier
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test import Client

from maintenance.checks.defects import record_defect, strike_defect, work_order_from_defect
from maintenance.models import Defect, Firing, StandingTask, TaskSheet, WorkOrder
from maintenance.orders.origins import is_nothing_left, origins_of, say_origins
from maintenance.recurring.rolling_on import roll
from maintenance.watches.verdicts import judge
from maintenance.work.course import finish, sign_off, withdraw
from plant import clock
from plant.models import Change, Component, FailureMode, Kiln, User
from plant.templatetags.said import said as in_words
from tests.factories import UserFactory, WorkOrderFactory
from tests.maintenance.mill import a_user, signed_in
from tests.maintenance.watching_mill import (
    MONDAY_S,
    a_component,
    a_watch,
    a_watched_kiln,
    dry_wick,
    looked,
    ship,
    stand_at,
)
from tests.pages import markup

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _tuesday(monkeypatch: pytest.MonkeyPatch) -> None:
    ship(monkeypatch)
    stand_at(monkeypatch, MONDAY_S + 86_400)


@pytest.fixture
def kiln() -> Kiln:
    kiln = a_watched_kiln()
    a_watch(kiln, "wick-dry-left")
    return kiln


def left(kiln: Kiln) -> Component:
    return kiln.components.get(tag="psychrometer-left")


def wick() -> TaskSheet:
    return TaskSheet.objects.get(code="wick-exchange")


def a_task(kiln: Kiln, component: Component | None, days: int = 6, **ways: Any) -> StandingTask:
    today = clock.today(kiln.mill.zone)
    given = {"every": 4, "every_unit": "week", "entered_on": today - timedelta(days=90), **ways}
    on = today + timedelta(days=days)
    return StandingTask.objects.create(
        code=f"wick-{days}", sheet=wick(), kiln=kiln, component=component, anchor_on=on, **given
    )


# each of the three origins


def by_watch(kiln: Kiln) -> None:
    looked(kiln, dry_wick(kiln))


def by_task(kiln: Kiln) -> None:
    a_task(kiln, left(kiln))
    roll(clock.today(kiln.mill.zone))


def by_finding(kiln: Kiln, **ways: Any) -> WorkOrder:
    mode = FailureMode.objects.get(code="wick-dry")
    found = record_defect(kiln=kiln, component=left(kiln), failure_mode=mode, what="wick is dry", by=None, **ways)
    return work_order_from_defect(found, None)


@pytest.mark.parametrize("order_of_origins", list(permutations([by_watch, by_task, by_finding])))
def test_in_whatever_order_they_come_there_is_one_work_order(
    kiln: Kiln, order_of_origins: tuple[Callable[[Kiln], Any], ...]
) -> None:
    for origin in order_of_origins:
        origin(kiln)

    order = WorkOrder.objects.get()
    assert {line.name for line in origins_of(order)} == {"recurring task", "finding", "watch"}
    assert origins_of(order)[0].name == order.get_origin_display()
    assert order.due_at == min(clock.now() + timedelta(days=1), order.due_at)
    assert Change.objects.about(order).filter(act="joined").count() == 2


def done(order: WorkOrder, by: User, **ways: Any) -> WorkOrder:
    WorkOrder.objects.update(state="under_way")
    order.steps.all().delete()
    order.refresh_from_db()
    return finish(order, by=by, version=order.version, **ways)


def test_each_origin_gets_what_the_work_found(kiln: Kiln) -> None:
    for origin in (by_watch, by_task, by_finding):
        origin(kiln)
    order = done(WorkOrder.objects.get(), a_user("technician"))

    task, firing = StandingTask.objects.get(), Firing.objects.get()
    assert firing.verdict == "right"
    assert task.last_done_on == clock.today(kiln.mill.zone)
    sign_off(order, by=UserFactory(username="kim", role="planner"), version=order.version)
    assert Defect.objects.get().cured_at
    roll(clock.today(kiln.mill.zone) + timedelta(days=1))
    assert not WorkOrder.objects.unfinished().filter(occurrence_on=order.occurrence_on).exists()


def test_an_order_under_way_is_joined_and_told(kiln: Kiln) -> None:
    by_watch(kiln)
    WorkOrder.objects.update(state="under_way")

    assert by_finding(kiln) == WorkOrder.objects.get()
    assert "Joined by: Found: wick is dry." in in_words(WorkOrder.objects.get().why)


def test_a_finished_order_is_not_joined(kiln: Kiln) -> None:
    by_watch(kiln)
    WorkOrder.objects.update(state="done")

    assert by_finding(kiln).state == "raised" and WorkOrder.objects.count() == 2


@pytest.mark.parametrize("ways", [{"is_safety": True}, {"blocks_entry": True}])
def test_what_is_safety_or_bars_entry_has_an_order_of_its_own(kiln: Kiln, ways: dict[str, bool]) -> None:
    by_watch(kiln)

    assert by_finding(kiln, **ways).origin == "finding" and WorkOrder.objects.count() == 2


def test_another_sheet_or_another_component_is_other_work(kiln: Kiln) -> None:
    other = TaskSheet.objects.get(code="trough-descale")
    WorkOrderFactory(number="WO-9000", kiln=kiln, component=left(kiln), sheet=other)
    WorkOrderFactory(number="WO-9001", kiln=kiln, component=a_component(kiln, "psychrometer", "right"), sheet=wick())

    by_watch(kiln)

    assert WorkOrder.objects.count() == 3


# an origin that falls away


def test_a_defect_that_is_struck_leaves_the_order_for_the_others(kiln: Kiln) -> None:
    by_task(kiln)
    by_finding(kiln)

    strike_defect(Defect.objects.get(), by=UserFactory(role="planner"), why="It was wet after all.")

    order = WorkOrder.objects.get()
    assert (order.state, order.defect) == ("raised", None)
    assert [line.name for line in origins_of(order)] == ["recurring task"]
    assert Change.objects.about(order).filter(act="an origin fell away").exists()


def test_the_only_defect_of_an_order_is_struck_after_the_order_is_withdrawn(kiln: Kiln) -> None:
    by_finding(kiln)

    with pytest.raises(ValidationError, match="withdraw that work order first"):
        strike_defect(Defect.objects.get(), by=UserFactory(role="planner"), why="It was wet after all.")


def test_where_all_proved_false_it_is_offered_to_withdraw(kiln: Kiln, client: Client) -> None:
    by_watch(kiln)
    order, planner = WorkOrder.objects.get(), UserFactory(role="planner")
    judge(Firing.objects.get(), by=planner, verdict="wrong")
    client.force_login(planner)

    text = markup(client.get(order.get_absolute_url()))

    assert is_nothing_left(order) and "All that asked for this job proved false." in text
    assert WorkOrder.objects.unfinished().get() == order


def test_what_somebody_asked_for_stays_wanted(kiln: Kiln) -> None:
    order = WorkOrderFactory(kiln=kiln, component=left(kiln), sheet=wick())
    by_watch(kiln)
    judge(Firing.objects.get(), by=UserFactory(role="planner"), verdict="wrong")

    assert not is_nothing_left(order)
    assert say_origins(order).startswith("asked for; watch (") and "proved false" in say_origins(order)


def test_withdrawing_the_order_counts_for_all(kiln: Kiln) -> None:
    for origin in (by_task, by_watch):
        origin(kiln)
    order = WorkOrder.objects.get()

    withdraw(order, by=UserFactory(role="planner"), version=order.version, why="kiln is sold", found_nothing=True)

    assert Firing.objects.get().verdict == "wrong"
    assert StandingTask.objects.get().passed_over_on == order.occurrence_on


# two psychrometers


@pytest.fixture
def right(kiln: Kiln) -> Component:
    return a_component(kiln, "psychrometer", "right")


def test_a_task_without_a_component_says_which_and_lists_each_with_its_steps(kiln: Kiln, right: Component) -> None:
    a_task(kiln, None)
    (order,) = roll(clock.today(kiln.mill.zone)).raised

    assert set(order.covers.all()) == {left(kiln), right}
    assert left(kiln).name in order.title and right.name in order.title
    texts = list(order.steps.order_by("no").values_list("no", "text"))
    assert [no for no, _text in texts] == list(range(1, 2 * wick().steps.count() + 1))
    assert texts[0][1].startswith(f"{left(kiln).name}: ") and texts[-1][1].startswith(f"{right.name}: ")
    assert order.hours == 2 * wick().hours


def test_a_watch_joins_the_order_that_covers_its_component(kiln: Kiln, right: Component) -> None:
    a_task(kiln, None)
    roll(clock.today(kiln.mill.zone))

    by_watch(kiln)

    order = WorkOrder.objects.get()
    assert Firing.objects.get().work_order == order and set(order.covers.all()) == {left(kiln), right}


def test_a_task_extends_the_order_of_a_watch_to_the_other_side(kiln: Kiln, right: Component) -> None:
    by_watch(kiln)
    a_task(kiln, None)

    assert roll(clock.today(kiln.mill.zone)).raised == ()

    order = WorkOrder.objects.get()
    assert set(order.covers.all()) == {left(kiln), right} and order.standing_task is not None
    assert order.steps.count() == 2 * wick().steps.count() and order.hours == 2 * wick().hours
    assert left(kiln).name in order.title and right.name in order.title
    assert order.steps.filter(text__startswith=f"{left(kiln).name}: ").count() == wick().steps.count()


def test_beside_an_order_under_way_only_the_other_side_is_raised(kiln: Kiln, right: Component) -> None:
    by_watch(kiln)
    under_way = WorkOrder.objects.get()
    WorkOrder.objects.update(state="under_way")
    a_task(kiln, None)

    (order,) = roll(clock.today(kiln.mill.zone)).raised

    assert order.component == right and f"is done with {under_way.number}" in in_words(order.why)


def test_of_many_alike_the_sheet_is_meant_for_all_together(kiln: Kiln) -> None:
    for side in ("right", "front", "rear"):
        a_component(kiln, "psychrometer", side)
    a_task(kiln, None)

    (order,) = roll(clock.today(kiln.mill.zone)).raised

    assert not order.covers.exists() and order.steps.count() == wick().steps.count()


def test_a_second_run_of_the_day_changes_nothing_more(kiln: Kiln, right: Component) -> None:
    by_watch(kiln)
    a_task(kiln, None)
    roll(clock.today(kiln.mill.zone))
    steps = WorkOrder.objects.get().steps.count()

    assert roll(clock.today(kiln.mill.zone)).raised == ()
    assert WorkOrder.objects.get().steps.count() == steps


def test_the_page_and_the_list_name_each_origin(kiln: Kiln, client: Client) -> None:
    by_watch(kiln)
    by_task(kiln)
    signed_in(client, a_user("planner"))
    order = WorkOrder.objects.get()

    text = markup(client.get(order.get_absolute_url()))

    assert f", {left(kiln).name}" in text
    assert "Asked for by" in text and StandingTask.objects.get().get_absolute_url() in text
    for origin in ("watch", "standing_task"):
        assert order.number in client.get(f"/work-orders/?origin={origin}").content.decode()


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite lets one writer in at a time")
def test_three_origins_at_once_raise_one_work_order() -> None:
    kiln = a_watched_kiln()
    a_watch(kiln, "wick-dry-left")
    until_s = dry_wick(kiln)
    a_task(kiln, left(kiln))
    mode = FailureMode.objects.get(code="wick-dry")
    found = record_defect(kiln=kiln, component=left(kiln), failure_mode=mode, what="wick is dry", by=None)
    acts: list[Callable[[], Any]] = [
        lambda: looked(kiln, until_s),
        lambda: roll(clock.today(kiln.mill.zone)),
        lambda: work_order_from_defect(found, None),
    ]
    gate = Barrier(len(acts))

    def run(act: Callable[[], Any]) -> None:
        try:
            gate.wait(timeout=30)
            act()
        finally:
            connection.close()

    with ThreadPoolExecutor(len(acts)) as people:
        list(people.map(run, acts))

    assert {line.name for line in origins_of(WorkOrder.objects.get())} == {"recurring task", "finding", "watch"}
