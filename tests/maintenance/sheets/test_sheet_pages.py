"""Task sheets and check points on screen: found, read, written with the four things that matter, copied, withdrawn."""

from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from maintenance.models import CheckPoint, TaskSheet
from maintenance.sheets.content import content_of
from maintenance.sheets.keeping import change, make
from plant import clock
from plant.models import User
from tests.factories import (
    CheckPointFactory,
    ComponentKindFactory,
    MillFactory,
    SkillFactory,
    TaskSheetFactory,
    UserFactory,
)
from tests.maintenance.placing_mill import standing
from tests.maintenance.sheets.test_own_sheets import a_caution, copy_of, job, shipped

pytestmark = pytest.mark.django_db


@pytest.fixture
def ilse() -> User:
    MillFactory()
    user: User = UserFactory(username="ilse", role="kiln_master")
    return user


@pytest.fixture
def ilses(client: Client, ilse: User) -> Client:
    client.force_login(ilse)
    return client


def text_of(answer: Any) -> str:
    assert answer.status_code == 200, answer.status_code
    text: str = answer.content.decode()
    return text


def typed(*steps: dict[str, str], **more: str) -> dict[str, str]:
    """What is sent by somebody who fills in the four things that matter."""
    sent = {
        "title": "Listen to the fans",
        "kind": ComponentKindFactory().code,
        "needs_state": "running",
        "hours": "1",
        "crew": "1",
        "key": str(uuid4()),
        "version": "1",
        "step-TOTAL_FORMS": str(len(steps) + 1),
        "step-INITIAL_FORMS": "0",
        "part-TOTAL_FORMS": "1",
        "part-INITIAL_FORMS": "0",
    }
    for place, step in enumerate(steps):
        sent |= {f"step-{place}-{name}": value for name, value in step.items()}
    return {**sent, **more}


NEW = "/rounds/task-sheets/new/"


def write(ilses: Client, sent: dict[str, str]) -> Any:
    return ilses.post(f"{NEW}?kind={sent['kind']}", sent, follow=True)


# --- finding and reading --------------------------------------------------------------------------


def test_a_sheet_is_found_by_the_words_of_its_steps(ilses: Client) -> None:
    shipped()
    assert "Grease the fan bearings" in text_of(ilses.get("/rounds/task-sheets/?q=press+grease"))
    assert "Nothing fits" in text_of(ilses.get("/rounds/task-sheets/?q=escape"))


def test_the_page_of_a_sheet_shows_everything(ilses: Client) -> None:
    text = text_of(ilses.get(shipped().get_absolute_url()))
    for said in ("Press grease in.", "Grease: 5 to 8.5 g", "A dry bearing seizes.", "open and empty", "Fans"):
        assert said in text, said


def test_the_list_asks_the_database_no_more_for_more_sheets(ilses: Client, ilse: User) -> None:
    sheet = shipped()

    def count() -> int:
        with CaptureQueriesContext(connection) as asked:
            text_of(ilses.get("/rounds/task-sheets/"))
        return len(asked)

    few = count()
    for number in range(8):
        copy_of(sheet, ilse, title=f"Ours {number}")
    assert count() == few


def test_an_earlier_version_is_read_with_what_the_next_one_changed(ilses: Client, ilse: User) -> None:
    own = copy_of(shipped(), ilse)
    job(own)
    change(own, {**content_of(own), "hours": "3"}, version=1, why="It takes longer.", by=ilse)
    assert "Version 1" in text_of(ilses.get(own.get_absolute_url()))
    text = text_of(ilses.get(f"{own.get_absolute_url()}versions/1/"))
    assert "It takes longer." in text
    assert "1.5" in text
    assert ilses.get(f"{own.get_absolute_url()}versions/7/").status_code == 404


# --- writing --------------------------------------------------------------------------------------


def test_four_things_make_a_sheet_and_steps_stand_in_the_order_of_their_numbers(ilses: Client) -> None:
    steps = [{"text": "Second", "no": "2"}, {"text": "Third"}, {"text": "First", "no": "1", "reading_name": "Noise"}]
    assert "It is on record" in text_of(write(ilses, typed(*steps)))
    sheet = TaskSheet.objects.get(is_own=True)
    assert [(step.no, step.text) for step in sheet.steps.all()] == [(1, "First"), (2, "Second"), (3, "Third")]
    assert sheet.hours == 1


def test_the_usual_cautions_of_the_kind_are_proposed(ilses: Client) -> None:
    sheet = shipped()
    text = text_of(ilses.get(f"{NEW}?kind={sheet.kind.code}"))
    assert 'value="fans" id="id_cautions_0" checked' in text
    assert "Cautions (1)" in " ".join(text.split())


@pytest.mark.parametrize(
    ("group", "state", "is_warned"),
    [("doors", "running", True), ("doors", "any", True), ("doors", "empty", False), ("air", "running", False)],
)
def test_work_on_a_door_of_a_running_kiln_is_warned_of_and_its_caution_stays(
    ilses: Client, group: str, state: str, is_warned: bool
) -> None:
    kind = ComponentKindFactory(code="main-door", group=group)
    a_caution("doors", states="running; still; empty")
    sent = typed({"text": "Look at the seam."}, kind=kind.code, needs_state=state)
    text = " ".join(text_of(write(ilses, sent)).split())
    assert ("At the running kiln the doors stay shut" in text) is is_warned
    sheet = TaskSheet.objects.get(is_own=True)
    assert sheet.cautions.filter(code="doors").exists() is is_warned
    again = " ".join(text_of(ilses.get(f"{sheet.get_absolute_url()}edit/")).split())
    assert ("hot damp air comes out of a door" in again) is is_warned


@pytest.mark.parametrize(
    ("steps", "more", "said"),
    [
        ([], {}, "Write at least one step"),
        ([{"text": "Listen", "low": "9", "high": "5", "reading_name": "dB"}], {}, "below the lower one"),
        ([{"reading_name": "Noise"}], {}, "Say what is to be done here"),
        ([{"text": "Listen", "low": "9"}], {}, "Say what is read"),
        ([{"text": "Listen"}], {"skill-mechanical": "3"}, "3 people with"),
        ([{"text": "Listen"}], {"every": "3"}, "Every how many of what?"),
        ([{"text": "Listen"}], {"part-0-quantity": "3"}, "Fill in part and quantity"),
        ([{"text": "Listen"}], {"title": ""}, "This field is required"),
    ],
)
def test_what_is_wrong_is_said_beside_it_and_nothing_is_kept(
    ilses: Client, steps: list[dict[str, str]], more: dict[str, str], said: str
) -> None:
    SkillFactory(code="mechanical")
    assert said in text_of(write(ilses, typed(*steps, **more)))
    assert not TaskSheet.objects.filter(is_own=True).exists()


def test_more_rows_keep_what_was_typed(ilses: Client) -> None:
    text = text_of(write(ilses, typed({"text": "Listen"}, more="step")))
    assert "Listen" in text
    assert 'name="step-4-text"' in text
    assert not TaskSheet.objects.filter(is_own=True).exists()


def test_a_copy_of_what_ships_is_changed_in_its_place(ilses: Client) -> None:
    sheet = shipped()
    answer = ilses.get(f"{sheet.get_absolute_url()}edit/", follow=True)
    assert answer.redirect_chain[0][0] == f"{sheet.get_absolute_url()}copy/"
    sent = typed({"text": "Ours"}, kind=sheet.kind.code, title="As we do it")
    ilses.post(f"{sheet.get_absolute_url()}copy/", sent)
    own = TaskSheet.objects.get(is_own=True)
    assert (own.title, own.copied_from) == ("As we do it", sheet)


def test_who_is_late_is_told_and_may_then_write_over_it(ilses: Client, ilse: User) -> None:
    own = copy_of(shipped(), ilse)
    change(own, {**content_of(own), "title": "First"}, version=1, why="", by=ilse)
    sent = typed({"text": "Ours"}, title="Second", kind=own.kind.code)
    text = text_of(ilses.post(f"{own.get_absolute_url()}edit/", sent))
    assert "changed this meanwhile" in text
    assert 'name="version" value="2"' in text
    ilses.post(f"{own.get_absolute_url()}edit/", {**sent, "version": "2"})
    own.refresh_from_db()
    assert (own.title, own.version) == ("Second", 3)


# --- withdrawing ----------------------------------------------------------------------------------


def test_what_recurs_by_a_sheet_is_named_before_it_is_withdrawn(ilses: Client, ilse: User) -> None:
    sheet = shipped()
    task, own = standing(sheet=sheet), copy_of(sheet, ilse)
    url = f"{sheet.get_absolute_url()}withdraw/"
    assert task.get_absolute_url() in text_of(ilses.get(url))
    assert "goes on by" in text_of(ilses.get(url))
    ilses.post(url, {"instead": own.code, "why": "Ours is better."})
    task.refresh_from_db()
    sheet.refresh_from_db()
    assert (task.sheet, sheet.is_withdrawn) == (own, True)
    assert f'value="{sheet.code}"' not in text_of(ilses.get("/rounds/recurring-tasks/new/"))
    ilses.post(f"{sheet.get_absolute_url()}back/")
    sheet.refresh_from_db()
    assert not sheet.is_withdrawn


# --- check points ---------------------------------------------------------------------------------


def test_a_check_point_is_written_with_what_is_looked_at_how_and_when_it_is_sound(ilses: Client) -> None:
    kind = ComponentKindFactory()
    sent = {
        "what": "Bolts of the motor mount",
        "kind": kind.code,
        "seen_in": "open_empty",
        "method": "Try each by hand.",
        "criterion": "None turns.",
        "per": "component",
        "interval_is": "own_choice",
        "key": str(uuid4()),
        "version": "1",
    }
    ilses.post(f"/rounds/check-points/new/?kind={kind.code}", sent)
    point = CheckPoint.objects.get(is_own=True)
    assert (point.what, point.end_view_no) == ("Bolts of the motor mount", kind.end_view_no)
    assert "None turns." in text_of(ilses.get(point.get_absolute_url()))
    assert "Bolts of the motor mount" in text_of(ilses.get("/rounds/check-points/?whose=own"))


def test_that_its_original_changed_is_shown_on_a_copy(ilses: Client, ilse: User) -> None:
    point = CheckPointFactory()
    own = make(CheckPoint(), content_of(point), key=uuid4(), by=ilse, copied=point)
    point.earlier.create(no=1, content=content_of(point), superseded_at=clock.now())
    CheckPoint.objects.filter(pk=point.pk).update(version=2, criterion="No crack at all.")
    text = text_of(ilses.get(own.get_absolute_url()))
    assert "The shipped one has changed since it was copied" in text
    assert "No crack at all." in text
    ilses.post(f"{own.get_absolute_url()}noted/")
    assert "has changed since it was copied" not in text_of(ilses.get(own.get_absolute_url()))


def test_an_auditor_reads_and_changes_nothing(client: Client) -> None:
    MillFactory()
    sheet = TaskSheetFactory()
    client.force_login(UserFactory(username="eva", role="auditor"))
    text = text_of(client.get(sheet.get_absolute_url()))
    assert "Copy for the mill" not in text
    assert client.get(f"{sheet.get_absolute_url()}copy/").status_code == 403
