"""Several that look at the same readings at once: run where rows are locked, on PostgreSQL."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.db import connection

from maintenance.models import Firing, WorkOrder
from maintenance.watches.looking import look
from maintenance.work.course import finish
from tests.maintenance.mill import a_user
from tests.maintenance.watching_mill import (
    DRYING_S,
    MONDAY_S,
    a_watch,
    a_watched_kiln,
    dry_wick,
    looked,
    ship,
    stand_at,
)

pytestmark = [
    pytest.mark.postgresql,
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite lets one writer in at a time"),
]
LOOKERS = 6


@pytest.fixture(autouse=True)
def _tuesday(monkeypatch: pytest.MonkeyPatch) -> None:
    ship(monkeypatch)
    stand_at(monkeypatch, MONDAY_S + 86_400)


def test_six_that_look_at_once_raise_one_work_order() -> None:
    kiln = a_watched_kiln()
    a_watch(kiln, "wick-dry-left")
    until_s = dry_wick(kiln)
    gate = Barrier(LOOKERS)

    def run(number: int) -> int:
        try:
            gate.wait(timeout=30)
            return len(look(kiln, MONDAY_S, until_s - 60 * number).work_orders)
        finally:
            connection.close()

    with ThreadPoolExecutor(LOOKERS) as lookers:
        raised = list(lookers.map(run, range(LOOKERS)))
    assert sum(raised) == 1
    assert (Firing.objects.count(), WorkOrder.objects.count()) == (1, 1)


def test_finishing_the_work_while_the_watch_fires_again_neither_hangs_nor_fails() -> None:
    kiln = a_watched_kiln()
    a_watch(kiln, "wick-dry-left")
    first_s = dry_wick(kiln, sound=20, dry=45, after=20)
    looked(kiln, first_s)
    order = WorkOrder.objects.get()
    WorkOrder.objects.update(state="under_way")
    order.steps.all().delete()
    second_s = dry_wick(kiln, first_s + 60, sound=20, dry=45)
    user, gate = a_user("technician"), Barrier(2)

    def run(number: int) -> None:
        try:
            gate.wait(timeout=30)
            if number:
                look(kiln, DRYING_S, second_s)
            else:
                finish(order, by=user, version=order.version, found_nothing=True)
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as people:
        list(people.map(run, range(2)))
    assert Firing.objects.count() == 2
    assert Firing.objects.order_by("begin_at")[0].verdict == "wrong"
    assert WorkOrder.objects.count() in (1, 2)
