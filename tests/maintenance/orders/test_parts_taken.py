"""Parts that are set aside for a job and taken for another: the job and its place know at once."""

from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from inventory.actions import TakesFromOthers, count, issue, receive, reserve, take_back
from inventory.models import Part, Reservation, StockLevel
from maintenance.models import WorkOrder, WorkPart
from maintenance.orders.raising import update_readiness
from maintenance.orders.supply import missing_parts
from maintenance.work import course as act
from maintenance.work import records as enter
from plant.models import Change
from tests.factories import MONDAY, MillFactory, PartFactory, WorkOrderFactory
from tests.maintenance.mill import a_person, a_user, signed_in
from tests.maintenance.own_work import placed

pytestmark = pytest.mark.django_db


@pytest.fixture
def part() -> Part:
    MillFactory()
    part: Part = PartFactory()
    receive(part, Decimal(2), by=None, key=uuid4())
    return part


def wants(order: WorkOrder, part: Part, quantity: int = 2) -> WorkOrder:
    held = reserve(part, Decimal(quantity), order.due_at.date(), order.number, order.title)
    WorkPart.objects.create(work_order=order, part=part, quantity=quantity, reservation=held)
    return order


def test_whoever_would_take_parts_of_a_placed_job_reads_when_it_is_placed(part: Part) -> None:
    order = wants(placed(MONDAY + timedelta(hours=30), a_person("ada")), part)
    with pytest.raises(TakesFromOthers, match=rf"{order.number} \({order.title}, placed, Tue 3 Mar 12:00\)"):
        issue(part, Decimal(1), by=a_user("storekeeper", "bo"), key=uuid4())


def test_a_placed_job_whose_parts_are_taken_knows_at_once(part: Part) -> None:
    order, bo = wants(placed(MONDAY + timedelta(hours=30), a_person("ada")), part), a_user("storekeeper", "bo")
    assert not missing_parts([order])
    issue(part, Decimal(2), by=bo, key=uuid4(), take_from=[order.number], reason="K1 stands")
    (short,) = missing_parts([order])[order.pk]
    assert short.missing == 2
    entry = Change.objects.about(order).get(act="parts gone")
    assert (entry.by, entry.words) == (bo, f"Reserved for this and gone: it waits for 2 {part.name}. K1 stands")


def test_a_job_that_was_ready_is_so_no_more_when_a_count_finds_less(part: Part) -> None:
    order = wants(WorkOrderFactory(), part)
    update_readiness([order])
    order.refresh_from_db()
    assert order.state == WorkOrder.State.READY
    count(part, part.bin, None, Decimal(1), by=a_user("storekeeper", "bo"), key=uuid4())
    order.refresh_from_db()
    assert order.state == WorkOrder.State.RAISED


def a_running_job(user: Any) -> WorkOrder:
    order: WorkOrder = WorkOrderFactory(needs_state="any", due_at=MONDAY + timedelta(days=20))
    return act.start(order, by=user, version=order.version, is_cautions_read=True, is_own_lock_on=True)


def test_on_the_jobs_page_a_planner_is_asked_and_a_technician_is_sent_to_one(client: Client, part: Part) -> None:
    loser = wants(WorkOrderFactory(due_at=MONDAY + timedelta(days=1)), part)
    oda, pia = a_user("technician"), a_user("planner", "pia")
    order = a_running_job(oda)
    url, typed = f"/work-orders/{order.number}/parts/", {"part": part.pk, "quantity": "1"}
    said = signed_in(client, oda).post(url, {**typed, "key": uuid4()}).content.decode()
    assert "The storekeeper, a planner or the kiln master can take it all the same." in said
    browser = signed_in(client, pia)
    said = browser.post(url, {**typed, "key": uuid4()}).content.decode()
    assert f'value="{loser.number}"' in said and "Why it is taken all the same" in said
    assert StockLevel.objects.get().on_hand == 2
    browser.post(url, {**typed, "key": uuid4(), "take_from": loser.number, "why": "K1 stands"})
    assert StockLevel.objects.get().on_hand == 1
    assert Change.objects.about(loser).filter(act="parts gone").exists()


def test_the_number_of_ones_own_job_is_no_reason_to_take_from_another(part: Part) -> None:
    loser = wants(WorkOrderFactory(due_at=MONDAY + timedelta(days=1)), part)
    order = a_running_job(a_user("technician"))
    with pytest.raises(TakesFromOthers, match="Say why"):
        enter.use_part(
            order, part, Decimal(1), by=a_user("planner", "pia"), key=uuid4(), take_from=[loser.number], why=" "
        )


def test_a_job_has_its_parts_set_aside_again_when_their_issue_was_wrong(part: Part) -> None:
    order = wants(WorkOrderFactory(), part)
    over = wants(WorkOrderFactory(state=WorkOrder.State.SIGNED_OFF), part)
    receive(part, Decimal(2), by=None, key=uuid4())
    for work in (order, over):
        held = Reservation.objects.get(source=work.number)
        (wrong,) = issue(part, Decimal(2), by=None, key=uuid4(), reservation=held)
        take_back(wrong, by=None, key=uuid4(), reason="another shelf")
    kept = {one.source: (one.used, one.closed_at is None) for one in Reservation.objects.all()}
    assert kept == {order.number: (0, True), over.number: (0, False)}
