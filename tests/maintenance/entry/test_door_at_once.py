"""Two people at once, one at the door and one at the switch: run where rows are locked, on PostgreSQL."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from functools import partial
from threading import Barrier
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import connection

from maintenance.entry import door
from maintenance.entry.now import entry_now
from maintenance.entry.permits import open_permit, open_permit_of
from maintenance.models import WorkOrder
from maintenance.work import course as work
from plant import clock
from plant.downtime.keeping import DowntimeFacts, end_downtime
from plant.kilns.stopping import report_stop
from plant.models import ChargeWord, Downtime
from tests.factories import ChargeFactory, KilnFactory, WorkOrderFactory
from tests.maintenance.mill import a_person, a_user, answers

pytestmark = [
    pytest.mark.postgresql,
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite lets one writer in at a time"),
]
ROUNDS = 6


def at_once(*acts: Callable[[], Any]) -> list[bool]:
    """Run acts in threads of their own, begun together; say of each whether it went through."""
    gate = Barrier(len(acts))

    def run(act: Callable[[], Any]) -> bool:
        try:
            gate.wait(timeout=30)
            act()
        except ValidationError:
            return False
        finally:
            connection.close()
        return True

    with ThreadPoolExecutor(len(acts)) as people:
        return list(people.map(run, acts))


def test_either_the_chamber_is_opened_or_the_kiln_runs() -> None:
    oda = a_user("technician")
    said = [answers(watch_outside=a_person(f"w{n}")) for n in range(ROUNDS)]
    for number in range(ROUNDS):
        kiln = KilnFactory(tag=f"K{number}")
        order = WorkOrderFactory(kiln=kiln, needs_state="running")
        opens, runs = at_once(
            lambda kiln=kiln, number=number: open_permit(kiln, said[number], by=oda, key=uuid4()),  # type: ignore[misc]
            lambda order=order: work.start(order, by=oda, version=0, is_cautions_read=True),  # type: ignore[misc]
        )
        assert opens != runs
        assert (open_permit_of(kiln) is not None) == opens
        assert (WorkOrder.objects.get(pk=order.pk).state == "under_way") == runs


def test_nobody_goes_into_two_chambers_at_once_and_no_stop_ends_meanwhile() -> None:
    oda = a_user("technician")
    permits, stops = [], []
    for tag in ("K1", "K2"):
        kiln = KilnFactory(tag=tag)
        start_at = clock.now() - timedelta(hours=2)
        stops.append(Downtime.objects.create(kiln=kiln, kind="unplanned", start_at=start_at))
        permits.append(open_permit(kiln, answers(watch_outside=a_person(f"w{tag}")), by=oda, key=uuid4()))
    una = a_person("una")

    def enter(number: int) -> None:
        door.go_in(permits[number], una, by=oda, key=uuid4(), is_own_lock_on=True)

    went = at_once(
        lambda: enter(0),
        lambda: enter(1),
        lambda: end_downtime(stops[0], clock.now(), by=oda),
        lambda: end_downtime(stops[1], clock.now(), by=oda),
    )
    assert sorted(went[:2]) == [False, True] and went[2:] == [False, False]
    assert sum(stand.count for stand in entry_now().values()) == 1


def test_of_two_who_report_a_stop_at_once_one_is_told_of_the_other_and_one_who_sends_twice_is_not() -> None:
    oda = a_user("technician")
    facts = [DowntimeFacts("unplanned", clock.now() - timedelta(minutes=n), cause=f"fan {n}") for n in (1, 2)]
    for number in range(ROUNDS):
        kiln = KilnFactory(tag=f"K{number}")
        ChargeFactory(kiln=kiln, begin_at=clock.now() - timedelta(days=2), days=5, basis="running")
        out_at = clock.now() + timedelta(days=4)
        reports = [partial(report_stop, kiln, one, charge_end_at=out_at, key=uuid4(), by=oda) for one in facts]
        went = at_once(*reports, *reports)
        assert went[:2] == went[2:] and sorted(went[:2]) == [False, True]
        assert Downtime.objects.filter(kiln=kiln).count() == ChargeWord.objects.filter(charge__kiln=kiln).count() == 1
