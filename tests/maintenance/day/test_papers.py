"""Work orders and sheets for function checks on paper."""

import io
from collections.abc import Iterator
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from pypdf import PdfReader

from maintenance.models import (
    Assignment,
    Caution,
    CheckItem,
    CheckPoint,
    Finding,
    FunctionCheck,
    Labour,
    Placement,
    Sitting,
    StepRecord,
    WorkOrder,
    WorkPart,
    WorkSkill,
    WorkStep,
)
from plant.basics.sentences import typed
from plant.models import User
from tests.factories import (
    MONDAY,
    ChargeFactory,
    ComponentFactory,
    ComponentKindFactory,
    DefectFactory,
    KilnFactory,
    PartFactory,
    PersonFactory,
    SkillFactory,
    TaskSheetFactory,
    UserFactory,
    WorkOrderFactory,
)

BACKEND = "django.contrib.auth.backends.ModelBackend"


@pytest.fixture
def planner(db: None) -> User:
    user: User = UserFactory(role="planner")
    return user


@pytest.fixture
def reader(client: Client, planner: User) -> Client:
    client.force_login(planner, backend=BACKEND)
    return client


@pytest.fixture
def order(db: None) -> WorkOrder:
    """Work in the open kiln, with all that a work order can have."""
    sheet = TaskSheetFactory()
    for code, title in (("general", "Local rules come first"), ("lock-out", "Lock out every energy"), ("pit", "Pit")):
        Caution.objects.create(code=code, title=title, text=f"Danger: {code}.", before_start=f"Before: {code}.")
    made: WorkOrder = WorkOrderFactory(
        number="WO-0412", title="Grease the fans of Łódź", sheet=sheet, hours="2.5", crew=2
    )
    made.component = ComponentFactory(kiln=made.kiln, side="left")
    made.save()
    WorkStep.objects.create(work_order=made, no=1, text="Turn the shaft by hand.")
    WorkStep.objects.create(
        work_order=made, no=2, text="Read the play.", reading_name="Play", reading_unit="mm", low=Decimal("0.1"), high=2
    )
    WorkPart.objects.create(work_order=made, part=PartFactory(), quantity=Decimal("1.5"))
    WorkSkill.objects.create(work_order=made, skill=SkillFactory(), persons=2)
    Assignment.objects.create(work_order=made, person=PersonFactory(name="Oda Ωmega"))
    charge = ChargeFactory(kiln=made.kiln, number="C17")
    Placement.objects.create(
        work_order=made, start_at=charge.end_at, end_at=charge.end_at + timedelta(hours=3), after_charge=charge
    )
    return made


@pytest.fixture
def check(planner: User) -> FunctionCheck:
    """A check with points of all three states; the fans are two."""
    kiln = KilnFactory()
    fans = [ComponentFactory(kiln=kiln, tag=f"fan-{n}", name=f"fan {n}") for n in (1, 2)]
    started: FunctionCheck = FunctionCheck.objects.create(
        number="FC-0007", kiln=kiln, started_at=MONDAY, started_by=planner
    )
    for code, seen_in, places in (("turn", "running", fans), ("skin", "open_empty", [None]), ("log", "either", [None])):
        point = a_point(code, seen_in)
        for place in places:
            CheckItem.objects.create(check_up=started, point=point, component=place)
    caution = Caution.objects.create(
        code="fans", title="Fans start by themselves", text="Sharp.", before_start="Locked."
    )
    caution.check_points.set(CheckPoint.objects.filter(code="turn"))
    return started


def a_point(code: str, seen_in: str, **changes: Any) -> CheckPoint:
    point: CheckPoint = CheckPoint.objects.create(
        **{
            "code": code,
            "kind": ComponentKindFactory(),
            "end_view_no": 5,
            "what": f"Look at the {code}",
            "seen_in": seen_in,
            "method": f"How to look at the {code}.",
            "criterion": f"the {code} is whole",
            **changes,
        }
    )
    return point


def found(item: CheckItem, by: User, **what: Any) -> None:
    sitting, _new = Sitting.objects.get_or_create(
        check_up=item.check_up, kiln_state="running", started_at=MONDAY, by=by
    )
    Finding.objects.create(key=uuid4(), item=item, sitting=sitting, at=MONDAY, by=by, **what)


def pages_of(client: Client, url: str) -> list[str]:
    answer = client.get(url)
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(answer.content)).pages]


def in_order(said: str, words: Iterator[str] | list[str]) -> bool:
    places = [said.index(word) for word in words]
    return places == sorted(places)


def test_a_work_order_begins_with_its_cautions_and_says_all_that_is_needed(reader: Client, order: WorkOrder) -> None:
    said = " ".join(pages_of(reader, "/work-orders/WO-0412/sheet.pdf"))
    assert in_order(said, ["Read this first", "Lock out every energy", "Lock-out and entry", "fan 3, left", "Steps"])
    assert "Before: lock-out." in said and "Danger: pit." not in said
    for words in (
        "WO-0412 Grease the fans of Łódź",
        "open and empty",
        "Sat 7 Mar 2026, 07:00 to Sat 7 Mar 2026, 10:00, after charge C17",
        "Oda Ωmega",
        "2 × mechanical",
        "2.5 h with 2 people",
        "0.1 to 2 mm",
        "1.5 piece wet-bulb wick, braided, 300 mm wick-300 C2-1 not reserved",
        "Local codes and licensed trades come first.",
    ):
        assert words in said


def test_readings_already_taken_stand_on_the_paper(reader: Client, order: WorkOrder, planner: User) -> None:
    step = order.steps.get(no=2)
    for reading, minutes in (("0.7", 0), ("0.9", 5)):
        at = MONDAY + timedelta(minutes=minutes)
        StepRecord.objects.create(key=uuid4(), step=step, reading=Decimal(reading), at=at, by=planner)
    said = " ".join(pages_of(reader, "/work-orders/WO-0412/sheet.pdf"))
    assert "Play 0.9 mm" in said and "0.7 mm" not in said


def test_work_at_a_running_kiln_asks_for_no_entry_and_bare_work_orders_print(reader: Client, db: None) -> None:
    WorkOrderFactory(number="WO-1", needs_state="running")
    said = " ".join(pages_of(reader, "/work-orders/WO-1/sheet.pdf"))
    assert "Lock-out and entry" not in said
    assert "no place yet" in said and "nobody yet" in said
    assert "No steps are written down for this job" in said


def test_text_of_any_length_and_mark_up_in_it_is_printed_whole(reader: Client, order: WorkOrder) -> None:
    WorkOrder.objects.update(title="W" * 160, why=typed("because & <b> " * 300))
    WorkStep.objects.filter(no=1).update(text="<para>Turn & listen. " * 300 + "The end.")
    Caution.objects.filter(code="lock-out").update(text="Danger " * 1200, before_start="x" * 3000)
    pages = pages_of(reader, "/work-orders/WO-0412/sheet.pdf")
    assert len(pages) > 3
    assert "The end." in " ".join(pages)
    assert sum(page.count("<para>Turn &") for page in pages) >= 295


def test_a_round_sheet_is_split_by_state_each_with_its_cautions(reader: Client, check: FunctionCheck) -> None:
    said = " ".join(pages_of(reader, "/rounds/checks/FC-0007/sheet.pdf"))
    parts = ["Skin and insulation", "While the kiln runs", "Before you look at the running kiln", "Fans start by"]
    parts += ["Look at the turn", "fan 1", "fan 2", "Before you go into the open kiln", "Look at the skin"]
    assert in_order(said, [*parts, "While the kiln runs, or open and empty", "Look at the log", "Sittings"])
    assert said.count("How to look at the turn.") == 1
    assert "Sound when: the skin is whole" in said
    assert "4 of 4 points have no finding yet" in said


def test_what_was_found_already_stands_on_the_sheet(reader: Client, check: FunctionCheck, planner: User) -> None:
    first, second = check.items.filter(point__code="turn")
    found(first, planner, result="worn", note="hums & sings")
    found(second, planner, result="not_seen", reason="snow on the ladder")
    said = " ".join(pages_of(reader, "/rounds/checks/FC-0007/sheet.pdf"))
    assert "worn, hums & sings" in said
    assert "could not be seen, snow on the ladder" in said
    assert "2 of 4 points have no finding yet" in said


def test_a_point_that_may_be_hidden_names_its_substitute(reader: Client, check: FunctionCheck) -> None:
    outer = a_point("felt", "running", what="Outer skin felt")
    hidden = a_point("clad", "open_empty", substitute=outer, substitute_when="The skin is clad", blocks_entry=True)
    CheckItem.objects.create(check_up=check, point=hidden)
    said = " ".join(pages_of(reader, "/rounds/checks/FC-0007/sheet.pdf"))
    assert "The skin is clad: look at “Outer skin felt” instead and write why." in said
    assert "what is not sound here bars entry" in said


def test_a_sheet_of_many_points_takes_no_more_queries(reader: Client, check: FunctionCheck) -> None:
    counts = []
    reader.get("/rounds/")  # the first look of a day renews the sign-in
    for extra in (0, 150):
        fans = [ComponentFactory(kiln=check.kiln, tag=f"f{n}", name="fan " + "ü" * 100) for n in range(extra)]
        point = CheckPoint.objects.get(code="turn")
        CheckItem.objects.bulk_create(CheckItem(check_up=check, point=point, component=fan) for fan in fans)
        with CaptureQueriesContext(connection) as queries:
            pages = pages_of(reader, "/rounds/checks/FC-0007/sheet.pdf")
        counts.append(len(queries))
    assert counts[0] == counts[1]
    assert len(pages) > 4


def test_papers_that_do_not_exist_are_not_found(reader: Client, order: WorkOrder) -> None:
    assert reader.get("/work-orders/WO-9999/sheet.pdf").status_code == 404
    assert reader.get("/rounds/checks/FC-9999/sheet.pdf").status_code == 404


@pytest.mark.parametrize(("role", "expected"), [("storekeeper", (200, 403)), ("auditor", (200, 200))])
def test_a_role_gets_the_papers_of_what_it_may_see(
    client: Client, order: WorkOrder, check: FunctionCheck, role: str, expected: tuple[int, int]
) -> None:
    client.force_login(UserFactory(username=role, role=role), backend=BACKEND)
    urls = ("/work-orders/WO-0412/sheet.pdf", "/rounds/checks/FC-0007/sheet.pdf")
    assert tuple(client.get(url).status_code for url in urls) == expected


def test_finished_work_names_who_did_it_and_asks_for_no_place(reader: Client, order: WorkOrder, planner: User) -> None:
    Placement.objects.all().delete()
    Assignment.objects.all().delete()
    for minutes in (50, 25):
        Labour.objects.create(
            key=uuid4(), work_order=order, person=PersonFactory(), minutes=minutes, at=MONDAY, by=planner
        )
    WorkOrder.objects.update(state="done", done_at=MONDAY, result="All greased.")
    said = " ".join(pages_of(reader, "/work-orders/WO-0412/sheet.pdf"))
    assert "Worked Oda Ωmega 1.3 h" in said
    assert "Done Mon 2 Mar 2026, 07:00" in said
    assert "All greased." in said
    assert "no place yet" not in said and "nobody yet" not in said


def test_each_page_names_its_kiln_and_says_as_of_when(reader: Client, order: WorkOrder) -> None:
    WorkStep.objects.bulk_create(WorkStep(work_order=order, no=number, text="Turn.") for number in range(3, 90))
    pages = pages_of(reader, "/work-orders/WO-0412/sheet.pdf")
    assert len(pages) > 2
    for page in pages:
        assert f"{order.kiln.tag} {order.kiln.mill.name} {order.number} {order.title} As of " in page


def test_a_bar_to_entry_stands_on_each_page(reader: Client, order: WorkOrder, check: FunctionCheck) -> None:
    DefectFactory(kiln=order.kiln, what="door jams", blocks_entry=True)
    DefectFactory(kiln=check.kiln, what="roof gave way", blocks_entry=True)
    DefectFactory(kiln=order.kiln, what="paint flakes")
    WorkStep.objects.bulk_create(WorkStep(work_order=order, no=number, text="Turn.") for number in range(3, 90))
    for page in pages_of(reader, "/work-orders/WO-0412/sheet.pdf"):
        assert f"Nobody may enter {order.kiln.tag}: door jams" in page
        assert "paint flakes" not in page
    for page in pages_of(reader, "/rounds/checks/FC-0007/sheet.pdf"):
        assert f"Nobody may enter {check.kiln.tag}:" in page


def test_a_job_with_a_page_of_steps_takes_two_pages(reader: Client, order: WorkOrder) -> None:
    WorkStep.objects.bulk_create(
        WorkStep(work_order=order, no=number, text="Look at the seal; write down what was found.")
        for number in range(3, 9)
    )
    assert len(pages_of(reader, "/work-orders/WO-0412/sheet.pdf")) == 2
