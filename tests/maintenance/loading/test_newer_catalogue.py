"""A newer catalogue says what it changed of sheets and points, keeps what was before, and spares the mill's own."""

from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest

from maintenance.loading.loader import load_catalogue
from maintenance.models import SheetVersion, TaskSheet
from maintenance.orders.raising import raise_work_order
from maintenance.sheets.content import content_of
from maintenance.sheets.keeping import make
from plant.models import Change
from tests.factories import MONDAY, KilnFactory, UserFactory
from tests.maintenance.loading.loading_mill import CATALOGUE, reasons, write_files

pytestmark = pytest.mark.django_db


@pytest.fixture
def catalogue(settings: Any, tmp_path: Path) -> Path:
    settings.FIXTURES_DIR = tmp_path / "fixtures"
    return write_files(tmp_path / "fixtures" / "catalogue", dict(CATALOGUE))


def newer(catalogue: Path, table: str, was: str, now: str) -> list[str]:
    """Load a catalogue in which something is different, and return what is told of it."""
    text = CATALOGUE[table].replace(was, now)
    assert text != CATALOGUE[table]
    write_files(catalogue, {table: text})
    report = load_catalogue()
    assert reasons(report) == []
    return [note for note in report.notes if "version" in note or "new" in note]


def test_a_newer_catalogue_says_what_it_changed_and_keeps_what_was_before(catalogue: Path) -> None:
    load_catalogue()
    told = newer(catalogue, "task_steps", "Slacken the motor", "Lock out and slacken the motor")
    assert told == ["the task sheet “Exchange the belt” is at version 2: steps changed"]
    sheet = TaskSheet.objects.get(code="belt-exchange")
    assert sheet.version == 2
    assert SheetVersion.objects.get(of=sheet).content["steps"][0]["text"] == "Slacken the motor"
    assert Change.objects.about(sheet).get().act == "brought up to date"
    assert not load_catalogue().has_changes


def test_a_step_that_ships_no_more_is_gone_and_raised_work_keeps_it(catalogue: Path) -> None:
    load_catalogue()
    sheet = TaskSheet.objects.get(code="belt-exchange")
    order = raise_work_order(kiln=KilnFactory(), title="Belt", origin="asked_for", due_at=MONDAY, sheet=sheet)
    newer(catalogue, "task_steps", "belt-exchange,2,Tension,Sag,mm,8,12,yes\n", "")
    assert [step.text for step in sheet.steps.all()] == ["Slacken the motor"]
    assert [step.text for step in order.steps.all()] == ["Slacken the motor", "Tension"]


def test_what_is_new_of_the_catalogue_is_told(catalogue: Path) -> None:
    load_catalogue()
    row = "\nfans-quiet,fan,5,No fan hums,running,Listen,Quiet,component,mill's choice\n"
    told = newer(catalogue, "check_points", "\nescape-latch", row + "escape-latch")
    assert told == ["the check point “No fan hums” is new"]


def test_a_newer_catalogue_leaves_a_copy_alone_and_tells_that_its_original_changed(catalogue: Path) -> None:
    load_catalogue()
    shipped = TaskSheet.objects.get(code="belt-exchange")
    own = make(TaskSheet(), content_of(shipped), key=uuid4(), by=UserFactory(role="planner"), copied=shipped)
    before = content_of(own)
    newer(catalogue, "task_sheets", "empty,1.5,1", "empty,2,2")
    own = TaskSheet.objects.select_related("copied_from").get(pk=own.pk)
    assert (content_of(own), own.version, own.has_news) == (before, 1, True)


def test_the_catalogue_ships_no_code_of_the_mills_own(catalogue: Path) -> None:
    write_files(catalogue, {"task_sheets": CATALOGUE["task_sheets"].replace("door-test,", "own-test,")})
    assert any("the mill's own" in reason for reason in reasons(load_catalogue()))
