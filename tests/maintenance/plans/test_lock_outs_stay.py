"""The day's run never takes a lock-out away from under its job: both stay, or both move."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from itertools import pairwise
from unittest.mock import patch

import pytest
from django.db import transaction
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from maintenance.day.run import run_day
from maintenance.models import KilnStop, Placement, WorkOrder
from maintenance.plans.desk import load_desk
from maintenance.plans.lock_outs import keep_lock_outs
from maintenance.plans.places import pin
from maintenance.plans.placing_all import place_all
from maintenance.plans.standing import forget, standing_on
from plant.charges.shifting import Shift, shift_charges
from plant.models import Absence, Charge, Person
from tests.factories import MONDAY, KilnFactory
from tests.maintenance.placing_mill import OPENING_FROM, OPENING_TO, job, on_shift, programme

pytestmark = pytest.mark.django_db
NOW = MONDAY + timedelta(hours=1)
HOUR = timedelta(hours=1)
UNDER_WAY = WorkOrder.State.UNDER_WAY


def jobs() -> Iterable[WorkOrder]:
    inside = WorkOrder.objects.unfinished().filter(needs_state__in=("empty", "still"), placement__isnull=False)
    return inside.select_related("placement")


def lock_outs_of(order: WorkOrder) -> list[tuple[datetime, datetime]]:
    return [(stop.lock_out_at, stop.ready_at) for stop in KilnStop.objects.filter(kiln=order.kiln) if stop.holds(order)]


@pytest.fixture
def kept(monkeypatch: pytest.MonkeyPatch) -> WorkOrder:
    """A job in the opening on Friday that somebody keeps there, with its lock-out."""
    monkeypatch.setattr("plant.clock.now", lambda: NOW)
    programme(charges=3)
    on_shift()
    on_shift("per")
    order = job()
    place_all(NOW)
    order.refresh_from_db()
    pin(order, by=None)
    assert lock_outs_of(order)
    return order


def test_a_job_kept_where_it_no_longer_holds_keeps_its_lock_out(kept: WorkOrder) -> None:
    was = lock_outs_of(kept)
    Absence.objects.create(person=kept.assignments.get().person, start_at=NOW, end_at=OPENING_TO + timedelta(days=9))
    forget()

    run_day()

    assert Placement.objects.get().start_at == kept.placement.start_at
    assert lock_outs_of(kept) == was


def test_a_job_under_way_before_its_time_keeps_its_lock_out(kept: WorkOrder) -> None:
    was = lock_outs_of(kept)
    WorkOrder.objects.update(state=UNDER_WAY, started_at=NOW)
    forget()

    run_day()

    assert lock_outs_of(kept) == was


def test_a_lock_out_that_all_jobs_have_left_goes(kept: WorkOrder) -> None:
    Placement.objects.all().delete()
    WorkOrder.objects.update(state="ready")
    desk = load_desk(NOW)
    standing = standing_on(desk)

    keep_lock_outs(desk, standing.drawn, standing.plan)

    assert not KilnStop.objects.exists()


def test_places_and_lock_outs_are_kept_together_or_not_at_all(kept: WorkOrder, monkeypatch: pytest.MonkeyPatch) -> None:
    kept.placement.is_pinned = False
    kept.placement.save()
    Absence.objects.create(person=kept.assignments.get().person, start_at=NOW, end_at=OPENING_TO + timedelta(days=9))
    forget()
    was = (list(Placement.objects.values()), list(KilnStop.objects.values()))

    def breaks(*_given: object) -> None:
        raise ConnectionError("the power went")

    monkeypatch.setattr("maintenance.plans.placing_all.keep_lock_outs", breaks)
    with pytest.raises(ConnectionError):
        run_day()

    assert (list(Placement.objects.values()), list(KilnStop.objects.values())) == was


# --- days drawn at random --------------------------------------------------------------------------------

EVENTS = ("nothing", "absent", "charge slips", "begin", "pin", "new job", "job stops its kiln")


def happen(event: str, number: int, now_at: datetime) -> None:
    placed = sorted(jobs(), key=lambda one: one.number)
    order = placed[number % len(placed)] if placed else None
    if event == "absent":
        person = Person.objects.order_by("code")[number % Person.objects.count()]
        Absence.objects.create(person=person, start_at=now_at, end_at=now_at + (1 + number % 4) * timedelta(days=1))
    elif event == "charge slips":
        charge = Charge.objects.filter(end_at__gt=now_at, begin_at__lt=now_at).order_by("pk").first()
        if charge is not None:
            slip = Shift(interrupted_at=now_at, longer=(1 + number) * HOUR)
            shift_charges(charge.kiln, {charge.pk: slip}, why="fog", by=None)
    elif event == "begin" and order is not None and order.state != UNDER_WAY:
        WorkOrder.objects.filter(pk=order.pk).update(state=UNDER_WAY, started_at=now_at)
    elif event == "pin" and order is not None and order.state != UNDER_WAY:
        pin(order, by=None)
    elif event == "new job":
        job(kiln=KilnFactory(tag=f"K{1 + number % 2}"), hours=1 + number % 4)
    elif event == "job stops its kiln" and order is not None and order.state != UNDER_WAY:
        WorkOrder.objects.filter(pk=order.pk).update(needs_state="still")
    forget()


@settings(max_examples=8, deadline=None, phases=[Phase.generate])
@given(
    st.lists(
        st.tuples(st.integers(1, 40), st.lists(st.tuples(st.sampled_from(EVENTS), st.integers(0, 40)), max_size=3)),
        min_size=2,
        max_size=4,
    )
)
def test_after_each_run_whoever_works_inside_stands_behind_a_lock_out(
    days: list[tuple[int, list[tuple[str, int]]]],
) -> None:
    with transaction.atomic():
        walk(days)
        transaction.set_rollback(True)
    forget()


def test_a_kiln_is_locked_out_once_though_work_under_way_needs_it_longer_than_the_plan_does() -> None:
    walk([(13, [("new job", 12)]), (3, [("begin", 25)]), (23, [("job stops its kiln", 16), ("begin", 39)]), (27, [])])


def test_a_lock_out_in_which_work_is_under_way_begins_no_later_for_a_job_that_joins() -> None:
    walk([(8, [("begin", 26), ("charge slips", 38), ("begin", 31)]), (40, [("absent", 2), ("new job", 11)])])


def walk(days: list[tuple[int, list[tuple[str, int]]]]) -> None:
    for tag in ("K1", "K2"):
        programme(kiln=KilnFactory(tag=tag), charges=3)
    for code in ("oda", "per"):
        on_shift(code)
    for tag in ("K1", "K1", "K2"):
        job(kiln=KilnFactory(tag=tag))
    now_at = OPENING_FROM - timedelta(days=2)
    for hours, events in [(0, []), *days]:
        now_at += hours * HOUR
        with patch("plant.clock.now", lambda at=now_at: at):
            for event, number in events:
                happen(event, number, now_at)
            had = {order.number: lock_outs_of(order) for order in jobs()}
            begun = {order.number for order in jobs() if order.state == UNDER_WAY}
            run_day()
            failing = standing_on(load_desk(now_at)).failing
            ahead = KilnStop.objects.filter(ready_at__gt=now_at).order_by("kiln", "lock_out_at")
            for first, second in pairwise(ahead):
                assert first.kiln_id != second.kiln_id or first.ready_at <= second.lock_out_at
            for order in jobs():
                has = lock_outs_of(order)
                if order.number in begun:
                    # It may begin sooner and last longer, for a job that shares it.
                    begins, began = [at for at, _ready_at in has], [at for at, _ready_at in had[order.number]]
                    assert not began or (len(begins) == len(began) and begins <= began), order.number
                elif order.number in failing or order.placement.start_at <= now_at:
                    assert has or not had[order.number], (order.number, failing.get(order.number))
                else:
                    assert has, order.number
