"""The day sheet: all placed jobs of a day on paper, by kiln or a sheet for each person."""

import io
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from pypdf import PdfReader

from maintenance.models import Caution, WorkPart
from tests.factories import MONDAY, ComponentFactory, KilnFactory, MillFactory, PartFactory, TaskSheetFactory
from tests.maintenance.mill import a_person, a_user, signed_in
from tests.maintenance.own_work import placed

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
SHEET = "/openings/day-sheet.pdf"


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    MillFactory()
    monkeypatch.setattr("plant.clock.now", lambda: MONDAY)


@pytest.fixture
def planner(client: Client) -> Client:
    return signed_in(client, a_user("planner", "vera"))


def pages(client: Client, query: str = "") -> list[str]:
    answer = client.get(f"{SHEET}{query}")
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(answer.content)).pages]


def in_order(said: str, *words: str) -> bool:
    places = [said.index(word) for word in words]
    return places == sorted(places)


def test_by_kiln_it_names_times_crew_parts_lock_out_and_leaves_room_to_write(planner: Client) -> None:
    Caution.objects.create(code="lock-out", title="Lock out every energy", text="Danger.", before_start="Locked.")
    fan = ComponentFactory(kiln=KilnFactory(tag="K2"))
    order = placed(MONDAY + 3 * HOUR, a_person("per"), a_person("una"), kiln=fan.kiln, component=fan, title="Grease it")
    WorkPart.objects.create(work_order=order, part=PartFactory(), quantity=2)
    placed(MONDAY + HOUR, a_person("per"), title="Look at it", needs_state="running")
    said = " ".join(pages(planner))
    assert in_order(
        said, "Day sheet, Monday 2 March 2026", "2 jobs, 2 kilns, 2 people", "Read this first", "Look at it"
    )
    kiln_2 = said[said.index("Planned:") :]
    assert in_order(kiln_2, "10:00", "Grease it", "fan 3", "open and empty", "Per, Una", "2 piece wet-bulb", "bin C2-1")
    assert in_order(kiln_2, "locked, start tried", "escape door tried", "begun", "ended", "initials")
    assert said.count("locked, start tried") == 1  # a running kiln is not entered


def test_by_person_everybody_has_a_sheet_with_own_jobs_and_cautions(planner: Client) -> None:
    sheet = TaskSheetFactory()
    sheet.cautions.add(Caution.objects.create(code="pit", title="The pit", text="Deep.", before_start="Covered."))
    per, una = a_person("per"), a_person("una")
    placed(MONDAY + HOUR, per, una, title="job-of-both", needs_state="running")
    placed(MONDAY + 2 * HOUR, una, title="job-of-una", sheet=sheet, needs_state="running")
    placed(MONDAY + 3 * HOUR, title="job-of-nobody", needs_state="running")
    of_per, of_una, of_nobody = pages(planner, "?by=person")
    assert "with Una" in of_per and "job-of-una" not in of_per and "The pit" not in of_per
    assert in_order(of_una, "The pit", "job-of-both", "with Per", "job-of-una", "alone")
    assert "Nobody yet" in of_nobody and "job-of-nobody" in of_nobody


def test_one_persons_sheet_holds_that_person_alone(planner: Client) -> None:
    placed(MONDAY + HOUR, a_person("per"), a_person("una"), title="job-of-both")
    placed(MONDAY + HOUR, a_person("una"), title="job-of-una")
    (only,) = pages(planner, "?person=per")
    assert "job-of-both" in only and "job-of-una" not in only
    assert planner.get(f"{SHEET}?person=nobody").status_code == 404


@pytest.mark.parametrize("query", ["", "?by=person", "?day=2026-07-01", "?day=nonsense"])
def test_a_day_without_work_says_so(planner: Client, query: str) -> None:
    (only,) = pages(planner, query)
    assert "No work is placed on this day." in only


def test_another_day_is_another_sheet_and_work_over_midnight_stands_on_both(planner: Client) -> None:
    placed(MONDAY + 16 * HOUR, a_person("per"), hours=3, title="job-of-night")
    for day in ("2026-03-02", "2026-03-03"):
        assert "job-of-night" in " ".join(pages(planner, f"?day={day}"))
    assert "Tue 3 Mar, 02:00" in " ".join(pages(planner, "?day=2026-03-02"))
    assert "job-of-night" not in " ".join(pages(planner, "?day=2026-03-04"))


def test_forty_jobs_with_long_words_break_over_pages_and_none_is_lost(planner: Client) -> None:
    for number in range(40):
        kiln = KilnFactory(tag=f"K{number % 6}")
        title = f"job-{number:02d} " + ("<b>W & </b>" * 15)[:150]
        order = placed(MONDAY + number * HOUR / 4, a_person(f"p{number % 9}"), kiln=kiln, title=title)
        part = PartFactory(code=f"part-{number}", name="wick " * 15)
        WorkPart.objects.create(work_order=order, part=part, quantity=1)
    for query in ("", "?by=person"):
        found = pages(planner, query)
        said = " ".join(found)
        assert len(found) > 3
        assert [n for n in range(40) if said.count(f"job-{n:02d}") != 1] == []


def test_many_jobs_take_no_more_queries(planner: Client) -> None:
    counts = []
    for _round in range(2):
        for number in range(6):
            order = placed(MONDAY, a_person(f"p{number}"), kiln=KilnFactory(tag=f"K{number}"), sheet=TaskSheetFactory())
            WorkPart.objects.create(work_order=order, part=PartFactory(code=f"part-{order.pk}"), quantity=1)
        # The first look after a change holds all places against the record, and is kept.
        planner.get(SHEET)
        with CaptureQueriesContext(connection) as queries:
            planner.get(SHEET)
        counts.append(len(queries))
    assert counts[0] == counts[1]
