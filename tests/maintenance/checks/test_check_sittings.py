"""Sittings of a function check as work: asked for, placed like any job, withdrawn or finished with the check."""

import re
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext

from maintenance.checks import check_sittings, checks
from maintenance.checks.check_sittings import ask_for_sittings, parts_of_check
from maintenance.entry.permits import open_permit_of
from maintenance.models import Caution, CheckPoint, EntryPermit, FunctionCheck, Placement, Sitting, WorkOrder
from maintenance.plans.placing_all import place_all
from maintenance.work import course as work
from plant.models import Change, User
from plant.templatetags.said import said as in_words
from tests.factories import (
    MONDAY,
    CheckPointFactory,
    ComponentFactory,
    KilnFactory,
    MillFactory,
    WorkOrderFactory,
)
from tests.maintenance.mill import a_person, a_user, opened, shut, signed_in
from tests.maintenance.placing_mill import OPENING_FROM, OPENING_TO, on_shift, programme
from tests.maintenance.work.test_work_order_pages import door
from tests.pages import markup

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    MillFactory()
    monkeypatch.setattr("plant.clock.now", lambda: MONDAY)


@pytest.fixture
def master() -> User:
    return a_user("kiln_master")


def a_check(master: User, *, still: int = 1, running: int = 1, either: int = 0, tag: str = "K1") -> FunctionCheck:
    """A check of a kiln with a fan and so many points of each state."""
    kiln = KilnFactory(tag=tag, is_reversing=False)
    ComponentFactory(kiln=kiln)
    CheckPoint.objects.all().delete()
    for state, count in (("open_empty", still), ("running", running), ("either", either)):
        for number in range(count):
            CheckPointFactory(code=f"{tag}-{state}-{number}".lower(), what=f"{state} {number}", seen_in=state)
    return checks.start_check(kiln, by=master)


def asked(check: FunctionCheck, master: User) -> dict[str, WorkOrder]:
    return {order.needs_state: order for order in ask_for_sittings(check, by=master)}


def sat(check: FunctionCheck, by: User) -> Sitting:
    """Sit in the open chamber."""
    return checks.start_sitting(check, "open_empty", by=by, is_cautions_read=True, note="open", is_own_lock_on=True)


def look(check: FunctionCheck, state: str, by: User) -> Sitting:
    """Sit in a state of the kiln and find everything sound that waits there."""
    sitting = checks.start_sitting(
        check, state, by=by, is_cautions_read=True, note="as the sign says", is_own_lock_on=True
    )
    for item in check.items.without_finding().filter(point__seen_in__in=[state, "either"]):
        checks.record_finding(item, sitting, checks.Answer("sound"), by=by, key=uuid4())
    return checks.end_sitting(sitting, by=by)


def begun(order: WorkOrder, by: User) -> WorkOrder:
    team = [a_person("una")]
    return work.start(order, by=by, version=order.version, is_cautions_read=True, people=team, is_own_lock_on=True)


def url(check: FunctionCheck, part: str = "") -> str:
    return f"/rounds/checks/{check.number}/{part}"


def shown(client: Client, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode().split("<main", 1)[1]).split())


def test_each_part_becomes_a_work_order_that_needs_its_state_of_the_kiln(master: User) -> None:
    check = a_check(master, still=20, running=16)
    orders = asked(check, master)
    assert [order.title for order in orders.values()] == [
        "Function check K1, open part",
        "Function check K1, running part",
    ]
    open_part, running = orders["empty"], orders["running"]
    assert (open_part.hours, running.hours) == (Decimal(2), Decimal("1.25"))  # 120 and 64 min, in quarters of an hour
    assert {order.origin for order in orders.values()} == {"function_check"}
    assert {(order.crew, order.check_up, order.due_at) for order in orders.values()} == {
        (1, check, MONDAY + timedelta(days=28))
    }
    why = in_words(open_part.why)
    assert "20 points are left" in why and "our own choice" in why
    assert not open_part.skills.exists()


def test_a_part_takes_at_least_half_an_hour(master: User) -> None:
    assert {order.hours for order in asked(a_check(master), master).values()} == {Decimal("0.5")}


def test_what_is_seen_in_either_state_goes_with_the_open_part(master: User) -> None:
    parts = parts_of_check(a_check(master, still=2, running=3, either=4))
    assert {str(part.needs_state): part.left for part in parts} == {"empty": 6, "running": 3}


def test_without_an_open_part_it_goes_with_the_running_one(master: User) -> None:
    parts = parts_of_check(a_check(master, still=0, running=3, either=4))
    assert {str(part.needs_state): part.left for part in parts} == {"running": 7}


def test_only_what_is_left_is_reckoned_and_what_is_seen_is_not_asked_for(master: User) -> None:
    check = a_check(master, still=20, running=2)
    look(check, "running", master)
    item = check.items.filter(point__seen_in="open_empty").first()
    opened(check.kiln, master)
    sitting = checks.start_sitting(
        check, "open_empty", by=master, is_cautions_read=True, note="open", is_own_lock_on=True
    )
    checks.record_finding(item, sitting, checks.Answer("sound"), by=master, key=uuid4())  # type: ignore[arg-type]
    (order,) = ask_for_sittings(check, by=master)
    assert (order.needs_state, order.hours, "19 points" in in_words(order.why)) == ("empty", Decimal(2), True)


def test_asking_twice_raises_nothing_twice(master: User) -> None:
    check = a_check(master)
    asked(check, master)
    with pytest.raises(ValidationError, match="needs no further work order"):
        ask_for_sittings(check, by=master)
    assert WorkOrder.objects.count() == 2


def test_a_part_whose_work_order_was_withdrawn_can_be_asked_for_again(master: User) -> None:
    check = a_check(master)
    first = asked(check, master)["empty"]
    work.withdraw(first, by=master, version=first.version, why="kiln is down")
    assert [order.needs_state for order in ask_for_sittings(check, by=master)] == ["empty"]


@pytest.mark.parametrize("state", ["raised", "placed", "under_way", "done"])
def test_the_database_holds_one_unfinished_work_order_for_each_part(master: User, state: str) -> None:
    check = a_check(master)
    facts: dict[str, Any] = {"check_up": check, "kiln": check.kiln, "needs_state": "empty"}
    WorkOrderFactory(state=state, **facts)
    with pytest.raises(IntegrityError), transaction.atomic():
        WorkOrderFactory(**facts)
    WorkOrder.objects.update(state="signed_off")
    assert WorkOrderFactory(**facts).pk


def test_done_work_with_points_left_is_signed_off_before_another_is_asked_for(master: User, client: Client) -> None:
    check = a_check(master)
    order = asked(check, master)["running"]
    order = begun(order, master)
    order = work.finish(order, by=master, version=order.version)
    signed_in(client, master)
    assert "It is done, yet points are left" in shown(client, url(check))
    with pytest.raises(ValidationError, match="needs no further"):
        ask_for_sittings(check, by=master)
    work.sign_off(order, by=master, version=order.version)
    assert [one.needs_state for one in ask_for_sittings(check, by=master)] == ["running"]


@pytest.mark.parametrize("role", ["technician", "storekeeper", "auditor"])
def test_only_who_places_work_asks_for_it(master: User, role: str, client: Client) -> None:
    check = a_check(master)
    other = a_user(role, "jon")
    with pytest.raises(PermissionDenied):
        ask_for_sittings(check, by=other)
    assert signed_in(client, other).post(url(check, "as-work/")).status_code == 403
    if role != "storekeeper":
        assert "Ask for the sittings" not in shown(client, url(check))


@pytest.mark.parametrize("ends", ["complete", "withdraw"])
def test_a_closed_check_takes_no_work(master: User, ends: str, client: Client) -> None:
    check = a_check(master, still=0)
    look(check, "running", master)
    if ends == "complete":
        checks.complete_check(check, by=master)
    else:
        checks.withdraw_check(check, by=master, why="wrong kiln")
    answer = signed_in(client, master).post(url(check, "as-work/"), follow=True)
    assert "is closed: start a new check" in answer.content.decode()
    assert not WorkOrder.objects.exists()


def test_completing_the_check_withdraws_what_nobody_started_and_frees_its_place(master: User) -> None:
    check = a_check(master, still=0)
    order = asked(check, master)["running"]
    Placement.objects.create(work_order=order, start_at=MONDAY, end_at=MONDAY + timedelta(hours=1))
    WorkOrder.objects.update(state="placed")
    look(check, "running", master)
    technician = a_user("technician", "jon")
    checks.complete_check(check, by=technician)
    order.refresh_from_db()
    assert (order.state, order.withdrawn_why) == ("withdrawn", f"{check.number} is complete.")
    assert not Placement.objects.exists()
    assert Change.objects.about(order).last().act == "withdrawn"  # type: ignore[union-attr]


def test_withdrawing_the_check_withdraws_them_with_its_reason(master: User) -> None:
    check = a_check(master)
    asked(check, master)
    checks.withdraw_check(check, by=master, why="the kiln is rebuilt " * 9)
    whys = set(WorkOrder.objects.values_list("state", "withdrawn_why"))
    assert len(whys) == 1
    state, why = whys.pop()
    assert (
        state == "withdrawn" and why.startswith(f"{check.number} is withdrawn: the kiln is rebuilt") and len(why) <= 200
    )


def test_work_that_somebody_has_begun_is_finished_in_the_usual_way(master: User, client: Client) -> None:
    check = a_check(master, still=0)
    order = begun(asked(check, master)["running"], master)
    look(check, "running", master)
    signed_in(client, master)
    said = shown(client, url(check))
    assert "Every point of this part has a finding." in said and f"Finish {order.number}" in said
    checks.complete_check(check, by=master)
    order.refresh_from_db()
    assert order.state == "under_way"
    assert f"Finish {order.number}" in shown(client, url(check))
    order = work.finish(order, by=master, version=order.version, result="all seen")
    assert order.state == "done"


def test_a_chamber_opened_for_a_job_not_begun_keeps_the_check_from_being_closed(master: User) -> None:
    check = a_check(master)
    order = asked(check, master)["empty"]
    opened(check.kiln, master, order)
    with pytest.raises(ValidationError, match="Count everybody out"):
        checks.withdraw_check(check, by=master, why="wrong kiln")
    check.refresh_from_db()
    assert check.withdrawn_at is None


def test_one_permit_serves_the_work_order_and_the_sitting(master: User, client: Client) -> None:
    check = a_check(master)
    order = asked(check, master)["empty"]
    signed_in(client, master)
    start = {
        "version": order.version,
        "is_cautions_read": "on",
        "people": [a_person("una").pk],
        "is_own_lock_on": "on",
        **door(),
    }
    assert client.post(f"/work-orders/{order.number}/start/", start).status_code == 302
    sit = {"kiln_state": "open_empty", "is_cautions_read": "on", "is_own_lock_on": "on"}
    assert client.post(url(check, "sit/"), sit).status_code == 302
    sitting = Sitting.objects.get(ended_at__isnull=True)
    assert EntryPermit.objects.get().work_order == order
    for item in check.items.filter(point__seen_in="open_empty"):
        checks.record_finding(item, sitting, checks.Answer("sound"), by=master, key=uuid4())
    # The chamber stays open for the job when the sitting ends; the job ends once everybody is out.
    assert client.post(url(check, f"sittings/{sitting.pk}/end/"))["Location"] == url(check)
    order.refresh_from_db()
    with pytest.raises(ValidationError, match="close the chamber for entry"):
        work.finish(order, by=master, version=order.version)
    shut(check.kiln, master)
    order.refresh_from_db()
    assert work.finish(order, by=master, version=order.version).state == "done"


def test_a_sitting_begun_first_lets_the_work_order_start_by_the_same_permit(master: User) -> None:
    check = a_check(master)
    order = asked(check, master)["empty"]
    permit = opened(check.kiln, master)
    sat(check, master)
    assert begun(order, master).state == "under_way"
    assert open_permit_of(check.kiln) == permit


def test_the_open_part_does_not_start_without_a_permit_and_the_running_part_needs_none(master: User) -> None:
    orders = asked(a_check(master), master)
    with pytest.raises(ValidationError, match="for entry first"):
        begun(orders["empty"], master)
    assert begun(orders["running"], master).state == "under_way"


def test_the_cautions_of_the_points_stand_on_the_work_order(master: User) -> None:
    check = a_check(master)
    for code, state in (("height-inside", "open_empty"), ("hot-surfaces", "running"), ("hot-air-hatch", "open_empty")):
        holds = "running; still" if "hatch" in code else "running; empty"
        CheckPoint.objects.get(seen_in=state).cautions.add(Caution.objects.create(code=code, title=code, states=holds))
    Caution.objects.create(code="general", title="general")
    orders = asked(check, master)
    wanted = {"empty": {"general", "height-inside"}, "running": {"general", "hot-surfaces"}}
    for state, order in orders.items():
        assert {one.code for one in Caution.objects.for_work_order(order)} == wanted[state]
    together = Caution.objects.for_work_orders([*orders.values(), WorkOrderFactory()])
    assert {state: {one.code for one in together[order.pk]} for state, order in orders.items()} == wanted


def test_the_pages_lead_to_each_other_and_show_place_and_people(master: User, client: Client) -> None:
    check = a_check(master)
    signed_in(client, master)
    assert "Ask for the sittings as work" in shown(client, url(check))
    answer = client.post(url(check, "as-work/"), follow=True)
    assert "Raised as work, to be placed: WO-" in answer.content.decode()
    order = WorkOrder.objects.get(needs_state="empty")
    order.assignments.create(person=a_person("per"))
    Placement.objects.create(work_order=order, start_at=MONDAY, end_at=MONDAY + timedelta(hours=1))
    WorkOrder.objects.filter(pk=order.pk).update(state="placed")
    said = shown(client, url(check))
    assert "Open part 1 point left" in said and "Mon 2 Mar 07:00 – 08:00" in said and "with Per" in said
    assert "no place yet" in said and "Ask for the sittings as work" not in said
    page = markup(client.get(f"/work-orders/{order.number}/"))
    assert f'href="{url(check)}"' in page and "1 of 1 points of this part" in page
    assert f'Function check</dt><dd><a href="{url(check)}">{check.number}' in page


def test_under_way_the_work_order_leads_straight_to_the_sitting(master: User, client: Client) -> None:
    check = a_check(master)
    order = begun(asked(check, master)["running"], master)
    page = signed_in(client, master).get(f"/work-orders/{order.number}/").content.decode()
    assert f"{url(check, 'sit/')}?kiln_state=running" in page and "points left to look at: 1" in page
    look(check, "running", master)
    said = shown(client, f"/work-orders/{order.number}/")
    assert "Every point of this part has a finding. The job can be finished." in said


def test_a_part_seen_before_its_work_began_says_that_completing_withdraws_it(master: User, client: Client) -> None:
    check = a_check(master)
    asked(check, master)
    look(check, "running", master)
    assert "Nothing is left to look at: completing the check withdraws" in shown(signed_in(client, master), url(check))


def test_the_day_gives_each_sitting_its_place_like_any_job_and_the_person_sees_it(master: User, client: Client) -> None:
    check = a_check(master)
    programme(check.kiln)
    per = on_shift("per", skills=("lock-out",))
    orders = asked(check, master)
    place_all(MONDAY)
    for order in orders.values():
        order.refresh_from_db()
    open_part, running = orders["empty"], orders["running"]
    assert open_part.placement.start_at >= OPENING_FROM and open_part.placement.end_at <= OPENING_TO
    assert running.placement.during_charge and not open_part.placement.during_charge
    assert {given.person for order in orders.values() for given in order.assignments.all()} == {per}
    said = shown(signed_in(client, a_user("planner", "vera")), "/my-work/week/?person=per")
    assert "Function check K1, open part" in said and "Function check K1, running part" in said


def test_many_points_take_no_more_queries(master: User, client: Client) -> None:
    counts = []
    # The first look of a day renews the sign-in.
    signed_in(client, master).get("/rounds/")
    for tag, number in (("K1", 2), ("K2", 30)):
        check = a_check(master, still=number, running=number, either=number, tag=tag)
        for order in asked(check, master).values():
            order.assignments.create(person=a_person(f"p{tag}"))
        with CaptureQueriesContext(connection) as queries:
            client.get(url(check))
            client.get(f"/work-orders/{order.number}/")
        counts.append(len(queries))
        check.items.all().delete()
    assert counts[0] == counts[1]


def test_the_rule_of_minutes_is_said_where_it_is_used() -> None:
    part = check_sittings.Part(check_sittings.NeedsState.RUNNING, 9, 9, None)
    assert part.minutes == 45  # 36 min, in full quarters of an hour
