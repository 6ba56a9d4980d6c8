"""The day's run never takes a lock-out away from under its job: both stay, or both move."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from maintenance.actions.daily import run_day
from maintenance.actions.desk import load_desk
from maintenance.actions.lock_outs import keep_lock_outs
from maintenance.actions.placing import pin, place_all
from maintenance.actions.plans import settle_places
from maintenance.models import KilnStop, Placement, WorkOrder
from maintenance.plan_states import forget, standing_on
from plant.models import Absence
from tests.factories import MONDAY
from tests.maintenance.placing_mill import OPENING_TO, job, on_shift, programme

pytestmark = pytest.mark.django_db
NOW = MONDAY + timedelta(hours=1)
HOUR = timedelta(hours=1)
BOTH = ("mechanical", "lock-out")
UNDER_WAY = WorkOrder.State.UNDER_WAY


def lock_outs_of(order: WorkOrder) -> list[tuple[datetime, datetime]]:
    return [(stop.lock_out_at, stop.ready_at) for stop in KilnStop.objects.filter(kiln=order.kiln) if stop.holds(order)]


@pytest.fixture
def kept(monkeypatch: pytest.MonkeyPatch) -> WorkOrder:
    """A job in the opening on Friday that somebody keeps there, with its lock-out."""
    monkeypatch.setattr("plant.clock.now", lambda: NOW)
    programme(charges=3)
    on_shift(skills=BOTH)
    on_shift("per", skills=BOTH)
    order = job()
    place_all(NOW)
    settle_places(NOW)
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

    def breaks(_at: datetime) -> None:
        raise ConnectionError("the power went")

    monkeypatch.setattr("maintenance.actions.daily.settle_places", breaks)
    with pytest.raises(ConnectionError):
        run_day()

    assert (list(Placement.objects.values()), list(KilnStop.objects.values())) == was
