"""The pages of work orders: the list, one of them on the phone, and every form on it."""

from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from maintenance.models import Defect, EntryPermit, Labour, Placement, StepRecord, WorkOrder
from plant import clock
from tests.factories import (
    ComponentFactory,
    DefectFactory,
    KilnFactory,
    MillFactory,
    SkillFactory,
    TaskSheetFactory,
    WorkOrderFactory,
    WorkStepFactory,
)
from tests.maintenance.mill import a_person, a_user, opened, signed_in

pytestmark = pytest.mark.django_db
LIST = "/work-orders/"


@pytest.fixture(autouse=True)
def _mill() -> None:
    MillFactory()


def page(client: Client, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200
    return answer.content.decode()


def url(order: WorkOrder, part: str = "") -> str:
    return f"/work-orders/{order.number}/{part}"


# the list


def test_safety_work_stands_apart_and_the_dearest_delay_per_hour_comes_first(client: Client) -> None:
    WorkOrderFactory(title="cheap", hours=Decimal(1), cost_of_delay_per_day=Decimal(10))
    WorkOrderFactory(title="dear but long", hours=Decimal(10), cost_of_delay_per_day=Decimal(90))
    WorkOrderFactory(title="dear and short", hours=Decimal(2), cost_of_delay_per_day=Decimal(90))
    WorkOrderFactory(title="the latch", is_safety=True)
    shown = page(signed_in(client, a_user("planner")), LIST)
    places = [shown.index(title) for title in ("the latch", "dear and short", "cheap", "dear but long")]
    assert places == sorted(places)
    assert shown.index("Safety work") < places[0] < shown.index("All other work")


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ("", {"flap", "wick"}),
        ("?kiln=K2", {"wick"}),
        ("?state=done", {"fan"}),
        ("?state=all", {"flap", "wick", "fan"}),
        ("?person=per", {"flap"}),
        ("?origin=finding", {"wick"}),
        ("?search=wick", {"wick"}),
        ("?search=WO-nothing", set()),
        ("?kiln=nowhere&state=nonsense", {"flap", "wick"}),
    ],
)
def test_the_list_is_narrowed(client: Client, query: str, expected: set[str]) -> None:
    flap = WorkOrderFactory(title="flap-job")
    flap.assignments.create(person=a_person("per"))
    WorkOrderFactory(title="wick-job", kiln=KilnFactory(tag="K2"), origin="finding")
    WorkOrderFactory(title="fan-job", state="done")
    shown = page(signed_in(client, a_user("planner")), LIST + query)
    assert {one for one in ("flap", "wick", "fan") if f"{one}-job" in shown} == expected


def test_many_rows_take_as_many_queries_as_few_and_go_over_pages(client: Client) -> None:
    planner = signed_in(client, a_user("planner"))
    # The first look of a day is noted in the session.
    page(planner, LIST)
    counts = []
    for many in (2, 60):
        for _number in range(many):
            order = WorkOrderFactory(kiln=KilnFactory(tag=f"K{_number}"))
            order.assignments.create(person=a_person("per"))
        with CaptureQueriesContext(
            connection,
        ) as caught:
            page(planner, LIST)
        counts.append(len(caught))
    assert counts[0] == counts[1]
    assert "Page 1 of 3" in page(planner, LIST)


def test_an_empty_list_teaches_where_work_comes_from(client: Client) -> None:
    assert "Work comes from recurring tasks" in page(signed_in(client, a_user("auditor")), LIST)


# asking for work


def test_work_is_asked_for_and_double_taps_ask_once(client: Client) -> None:
    kiln = KilnFactory()
    master = signed_in(client, a_user("kiln_master"))
    wish = {
        "title": "Free the linkage",
        "needs_state": "still",
        "hours": "1,5",
        "due_on": (timezone.now() + timedelta(days=9)).date().isoformat(),
        "why": "sticks",
    }
    for _tap in range(2):
        answer = master.post(f"/work-orders/new/?kiln={kiln.tag}", wish)
        assert answer.status_code == 302
    order = WorkOrder.objects.get()
    assert (order.hours, order.needs_state, order.origin) == (Decimal("1.5"), "still", "asked_for")


def test_a_wish_without_sheet_says_hours_and_state_and_keeps_what_was_typed(client: Client) -> None:
    kiln = KilnFactory()
    master = signed_in(client, a_user("kiln_master"))
    answer = master.post(f"/work-orders/new/?kiln={kiln.tag}", {"title": "Free the linkage", "due_on": "2026-12-01"})
    shown = answer.content.decode()
    assert "Say how many hours it takes" in shown and 'value="Free the linkage"' in shown
    assert not WorkOrder.objects.exists()


def test_work_cannot_be_asked_for_by_a_day_that_is_over(client: Client) -> None:
    kiln = KilnFactory()
    wish = {"title": "Free the linkage", "hours": "1", "needs_state": "empty", "due_on": "2020-12-01"}
    answer = signed_in(client, a_user("kiln_master")).post(f"/work-orders/new/?kiln={kiln.tag}", wish)
    assert "This day is over" in answer.content.decode()
    assert not WorkOrder.objects.exists()


def test_an_auditor_asks_for_nothing(client: Client) -> None:
    assert signed_in(client, a_user("auditor")).get("/work-orders/new/").status_code == 403


# one work order


def test_cautions_stand_before_the_start(client: Client) -> None:
    order = WorkOrderFactory()
    shown = page(signed_in(client, a_user("technician")), url(order))
    assert shown.index("Switched off is not the same as safe") < shown.index("Start this job")


def door(**changes: Any) -> dict[str, Any]:
    """What is filled in at the door."""
    said = {
        "permit_key": uuid4(),
        "is_locked_out": "on",
        "is_open": "on",
        "is_escape_door_tried": "on",
        "temperature": "24,5",
        "locked_out_by": a_person("oda", "lock-out").pk,
        "watch_outside": a_person("per").pk,
    }
    return {**said, **changes}


def test_door_and_start_are_one_form_and_all_or_nothing(client: Client) -> None:
    order, user = WorkOrderFactory(needs_state="empty"), a_user("technician")
    technician = signed_in(client, user)
    ticks = {"is_cautions_read": "on", "is_own_lock_on": "on"}
    start = {"version": 0, "people": [user.person.pk], **ticks}  # type: ignore[union-attr]
    refused = technician.post(url(order, "start/"), {**start, **door(temperature="60")})
    assert "limit is 35" in refused.content.decode() and not EntryPermit.objects.exists()
    technician.post(url(order, "start/"), {**start, **door(), "version": 7})
    assert not EntryPermit.objects.exists()
    assert technician.post(url(order, "start/"), {**start, **door()}).status_code == 302
    order.refresh_from_db()
    assert (order.state, EntryPermit.objects.get().temperature_c) == ("under_way", Decimal("24.5"))


def test_unticked_statements_are_named_at_their_place(client: Client) -> None:
    order = WorkOrderFactory(needs_state="empty")
    answer = signed_in(client, a_user("technician")).post(url(order, "start/"), {"version": 0})
    assert answer.content.decode().count("This must be so first: tick it.") == 4


def test_where_entry_is_blocked_the_page_shouts_and_offers_no_start(client: Client) -> None:
    defect = DefectFactory(what="latch corroded", blocks_entry=True)
    order = WorkOrderFactory(kiln=defect.kiln, needs_state="empty")
    technician = signed_in(client, a_user("technician"))
    for path in (url(order), url(order, "start/")):
        assert "Nobody may enter K1" in page(technician, path)
    assert "At the door" not in page(technician, url(order, "start/"))


def test_what_mends_the_block_starts_from_outside(client: Client) -> None:
    defect, user = DefectFactory(what="latch corroded", blocks_entry=True), a_user("technician")
    order = WorkOrderFactory(kiln=defect.kiln, needs_state="empty", defect=defect)
    technician = signed_in(client, user)
    assert "done from outside" in page(technician, url(order, "start/"))
    me = user.person.pk  # type: ignore[union-attr]
    said = {"version": 0, "people": [me], "is_cautions_read": "on", "locked_out_outside_by": me}
    assert technician.post(url(order, "start/"), said).status_code == 302
    order.refresh_from_db()
    assert order.state == "under_way"


def under_way(**fields: Any) -> WorkOrder:
    order: WorkOrder = WorkOrderFactory(**{"state": "under_way", "needs_state": "any", **fields})
    return order


def test_a_step_with_a_reading_outside_keeps_what_was_typed_and_offers_the_defect(client: Client) -> None:
    component = ComponentFactory()
    order = under_way(kiln=component.kiln, component=component)
    WorkStepFactory(work_order=order, no=1, reading_name="Gap", reading_unit="mm", low=Decimal(1), high=Decimal(4))
    technician = signed_in(client, a_user("technician"))
    said = {"key": uuid4(), "reading": "6,5", "act": "done"}
    shown = technician.post(url(order, "steps/1/"), said).content.decode()
    assert "Outside the limits (1 to 4 mm)" in shown and 'value="6,5"' in shown
    assert technician.post(url(order, "steps/1/"), {**said, "act": "defect"}).status_code == 302
    assert StepRecord.objects.get().reading == Decimal("6.5")
    assert Defect.objects.get().component == component
    assert "outside its limits" in page(technician, url(order))


@pytest.mark.parametrize("reading", ["a lot", "1.23456", "9" * 30, ""])
def test_a_reading_that_is_no_number_is_refused(client: Client, reading: str) -> None:
    order = under_way()
    WorkStepFactory(work_order=order, no=1, reading_name="Gap")
    technician = signed_in(client, a_user("technician"))
    answer = technician.post(url(order, "steps/1/"), {"key": uuid4(), "reading": reading, "act": "done"})
    assert (
        answer.status_code == 200 and "field-error" in answer.content.decode()
    ) or "note-error" in answer.content.decode()
    assert not StepRecord.objects.exists()


def test_time_is_entered_and_shown(client: Client) -> None:
    order, user = under_way(), a_user("technician")
    technician = signed_in(client, user)
    said = {"key": uuid4(), "person": user.person.pk, "minutes": 35}  # type: ignore[union-attr]
    technician.post(url(order, "time/"), said)
    technician.post(url(order, "time/"), said)
    assert Labour.objects.get().minutes == 35
    assert "35 minutes entered" in page(technician, url(order))


def test_a_job_is_finished_signed_off_and_its_history_shown(client: Client) -> None:
    order = under_way()
    technician = signed_in(client, a_user("technician"))
    assert technician.post(url(order, "finish/"), {"version": 0, "result": "freed"}).status_code == 302
    assert technician.post(url(order, "sign-off/"), {"version": 1}).status_code == 403
    planner = signed_in(client, a_user("planner", "ilse"))
    assert planner.post(url(order, "sign-off/"), {"version": 1}).status_code == 302
    shown = page(planner, url(order))
    assert "Signed off by Ilse" in shown and "freed" in shown


def test_a_stale_form_says_so_and_keeps_the_words(client: Client) -> None:
    order = under_way(version=4)
    shown = signed_in(client, a_user("technician")).post(url(order, "finish/"), {"version": 3, "result": "freed it"})
    assert "Somebody changed this meanwhile" in shown.content.decode() and "freed it" in shown.content.decode()


def test_the_start_says_who_holds_the_skills_and_that_any_state_will_do(client: Client) -> None:
    order = WorkOrderFactory(needs_state="any")
    order.skills.create(skill=SkillFactory(code="welding", name="Welding"))
    a_person("per", "welding")
    shown = page(signed_in(client, a_user("technician")), url(order, "start/"))
    assert "Per (Welding)" in shown and "Oda (" not in shown
    assert "may be in any state" in shown


def test_safety_work_placed_after_its_date_is_marked_in_the_list(client: Client) -> None:
    soon = clock.now() + timedelta(days=2)
    order = WorkOrderFactory(is_safety=True, safety_at=soon, due_at=soon, state="placed")
    begin = soon + timedelta(days=5)
    Placement.objects.create(work_order=order, start_at=begin, end_at=begin + timedelta(hours=1))
    assert "after its safety date" in page(signed_in(client, a_user("technician")), "/work-orders/")


def test_the_door_is_closed_by_counting(client: Client) -> None:
    user = a_user("technician")
    order = under_way(needs_state="empty")
    permit = opened(order.kiln, user, order)
    technician = signed_in(client, user)
    close = f"/rounds/permits/{permit.pk}/close/"
    assert technician.post(close, {"key": uuid4()}).status_code == 200
    unnamed = technician.post(close, {"key": uuid4(), "is_everybody_out": "on"})
    assert (
        f"{order.number} is paused" in unnamed.content.decode()
        and not EntryPermit.objects.filter(act="closed").exists()
    )
    said = {"key": uuid4(), "is_everybody_out": "on", f"job-{order.pk}": "on"}
    assert technician.post(close, said)["Location"] == order.get_absolute_url()
    assert "not open for entry: nobody may be inside" in page(technician, url(order))


def test_a_proof_test_asks_for_outcome_and_seal(client: Client) -> None:
    component = ComponentFactory()
    sheet = TaskSheetFactory(kind=component.kind, is_proof_test=True)
    order, user = under_way(kiln=component.kiln, component=component, sheet=sheet), a_user("technician")
    technician = signed_in(client, user)
    stranger = a_person("una")
    order.assignments.create(person=user.person)
    offered = page(technician, url(order, "finish/"))
    assert f'value="{user.person.pk}"' in offered and f'value="{stranger.pk}"' not in offered  # type: ignore[union-attr]
    said = {"version": 0, "key": uuid4(), "outcome": "passed", "tested_by": user.person.pk}  # type: ignore[union-attr]
    assert "Enter the number of the new seal" in technician.post(url(order, "finish/"), said).content.decode()
    said |= {"seal_no": "S-4711", "next_due_on": "2099-01-01"}
    assert technician.post(url(order, "finish/"), said).status_code == 302
    assert "S-4711" in page(technician, url(order))


def test_work_is_withdrawn_with_a_reason(client: Client) -> None:
    order = WorkOrderFactory()
    planner = signed_in(client, a_user("planner"))
    assert planner.post(url(order, "withdraw/"), {"version": 0, "why": ""}).status_code == 200
    assert planner.post(url(order, "withdraw/"), {"version": 0, "why": "twice on the list"}).status_code == 302
    assert "Withdrawn: twice on the list" in page(planner, url(order))


@pytest.mark.parametrize("part", ["start/", "finish/", "permit/"])
@pytest.mark.parametrize("role", ["auditor", "storekeeper", "manager"])
def test_who_only_reads_changes_nothing(client: Client, role: str, part: str) -> None:
    order = under_way()
    reader = signed_in(client, a_user(role))
    assert reader.get(url(order)).status_code == 200
    assert reader.post(url(order, part), {}).status_code == 403


def test_an_unknown_number_is_not_found(client: Client) -> None:
    assert signed_in(client, a_user("planner")).get("/work-orders/WO-9999/").status_code == 404
