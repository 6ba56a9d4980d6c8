"""The mill's own task sheets: written, copied, changed, withdrawn; and what work on record keeps of them."""

from decimal import Decimal
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from maintenance.checks.check_points import items_for
from maintenance.entry.permits import runs_the_kiln
from maintenance.loading.loader import load_folder
from maintenance.models import (
    Caution,
    CheckPoint,
    FunctionCheck,
    PointVersion,
    SheetVersion,
    TaskSheet,
    Watch,
    WorkOrder,
)
from maintenance.models.versions import purpose_of, put_as_asked
from maintenance.orders.raising import extend_to, raise_work_order
from maintenance.recurring.editing import resume_standing_task
from maintenance.sheets.content import content_of
from maintenance.sheets.keeping import bring_back, change, make, take_note, withdraw
from plant import clock
from plant.models import Change, User
from tests.factories import (
    MONDAY,
    CheckPointFactory,
    ComponentFactory,
    KilnFactory,
    SkillFactory,
    TaskSheetFactory,
    UserFactory,
)
from tests.maintenance.placing_mill import standing

pytestmark = pytest.mark.django_db


@pytest.fixture
def ilse() -> User:
    user: User = UserFactory(username="ilse", role="kiln_master")
    return user


def a_caution(code: str, **more: Any) -> Caution:
    made: Caution = Caution.objects.create(
        code=code, title=code.title(), text="It hurts.", before_start="It is off.", beside_running="Stay away.", **more
    )
    return made


def shipped(**more: Any) -> TaskSheet:
    """A sheet as the product ships it: two steps, one with a reading, a skill and a caution."""
    sheet: TaskSheet = TaskSheetFactory(purpose="A dry bearing seizes.", **more)
    sheet.steps.create(no=1, text="Lock out.")
    sheet.steps.create(
        no=2, text="Press grease in.", reading_name="Grease", reading_unit="g", low=5, high=Decimal("8.5")
    )
    sheet.skills.create(skill=SkillFactory(code="mechanical"), persons=1)
    sheet.cautions.add(a_caution("fans"))
    return sheet


def copy_of(sheet: TaskSheet, by: User, **changes: Any) -> TaskSheet:
    content = {**content_of(sheet), **changes}
    made = make(TaskSheet(), content, key=uuid4(), by=by, copied=sheet)
    assert isinstance(made, TaskSheet)
    return made


def job(sheet: TaskSheet, **more: Any) -> WorkOrder:
    return raise_work_order(kiln=KilnFactory(), title="Grease", origin="asked_for", due_at=MONDAY, sheet=sheet, **more)


def a_watch(sheet: TaskSheet) -> Watch:
    """A watch that asks for work by a sheet."""
    rule = {"signal": "wet_bulb:left", "rule": "limit", "parameters": {"side": "above", "limit": 90, "clear": 80}}
    kiln = KilnFactory()
    return Watch.objects.create(
        kiln=kiln, code="w", name="W", severity="work_order", sheet=sheet, sentence="W.", **rule
    )


def codes(order: WorkOrder) -> set[str]:
    return {one.code for one in Caution.objects.for_work_order(order)}


# --- writing and copying --------------------------------------------------------------------------


def test_a_copy_says_what_its_original_says_and_is_the_mills_own(ilse: User) -> None:
    sheet = shipped()
    made = copy_of(sheet, ilse, title="Grease them as we do")
    assert (made.is_own, made.copied_from, made.version, made.code[:4]) == (True, sheet, 1, "own-")
    assert content_of(made) == {**content_of(sheet), "title": "Grease them as we do"}


def test_a_form_that_is_sent_twice_makes_one_sheet(ilse: User) -> None:
    content, key = content_of(shipped()), uuid4()
    first, second = (make(TaskSheet(), content, key=key, by=ilse) for _ in range(2))
    assert first == second
    assert TaskSheet.objects.filter(is_own=True).count() == 1


def test_a_technician_writes_none() -> None:
    with pytest.raises(PermissionDenied):
        copy_of(shipped(), UserFactory(role="technician"))


def test_what_ships_is_not_changed(ilse: User) -> None:
    sheet = shipped()
    with pytest.raises(ValidationError, match="copy it"):
        change(sheet, {**content_of(sheet), "title": "Ours"}, version=1, why="", by=ilse)


# --- versions -------------------------------------------------------------------------------------


def test_a_job_keeps_the_version_it_was_raised_by(ilse: User) -> None:
    own = copy_of(shipped(), ilse)
    order = job(own)
    steps = [{**step, "text": f"Anew: {step['text']}"} for step in content_of(own)["steps"]]
    changed = {**content_of(own), "purpose": "Another.", "steps": steps, "hours": "3"}
    assert change(own, changed, version=1, why="The new grease gun", by=ilse)

    own.refresh_from_db()
    order.refresh_from_db()
    assert own.version == 2
    assert (order.sheet_version, order.hours) == (1, Decimal("1.5"))
    assert [step.text for step in order.steps.all()] == ["Lock out.", "Press grease in."]
    assert purpose_of(order) == "A dry bearing seizes."
    assert purpose_of(job(own)) == "Another."
    kept = SheetVersion.objects.get()
    assert (kept.no, kept.why, kept.superseded_by) == (1, "The new grease gun", ilse)


def test_a_job_that_is_extended_has_the_steps_of_its_own_version(ilse: User) -> None:
    own = copy_of(shipped(), ilse)
    kiln = KilnFactory()
    one, other = (ComponentFactory(kiln=kiln, tag=tag, name=tag, kind=own.kind) for tag in ("fan-1", "fan-2"))
    order = raise_work_order(kiln=kiln, title="Grease", origin="asked_for", due_at=MONDAY, sheet=own, component=one)
    change(own, {**content_of(own), "steps": content_of(own)["steps"][:1]}, version=1, why="", by=ilse)
    order = WorkOrder.objects.select_related("sheet", "component").get(pk=order.pk)
    extend_to(order, [other])
    assert [step.text for step in order.steps.all()][2:] == ["fan-2: Lock out.", "fan-2: Press grease in."]
    assert order.steps.last().high == Decimal("8.5")  # type: ignore[union-attr]


def test_a_new_caution_counts_at_once_until_the_job_is_done_and_one_that_goes_stays(ilse: User) -> None:
    a_caution("steam")
    own = copy_of(shipped(), ilse)
    open_job, done_job = job(own), job(own)
    WorkOrder.objects.filter(pk=done_job.pk).update(state="done")
    change(own, {**content_of(own), "cautions": ["steam"]}, version=1, why="", by=ilse)

    open_job, done_job = (WorkOrder.objects.get(pk=one.pk) for one in (open_job, done_job))
    assert {"fans", "steam"} <= codes(open_job)
    assert codes(done_job) & {"fans", "steam"} == {"fans"}
    assert codes(job(own)) & {"fans", "steam"} == {"steam"}


def test_the_stricter_of_both_versions_keeps_the_door_shut(ilse: User) -> None:
    a_caution("hot-chamber-shut")
    own = copy_of(shipped(needs_state="still"), ilse, cautions=["hot-chamber-shut"])
    order = job(own)
    change(own, {**content_of(own), "cautions": []}, version=1, why="", by=ilse)
    order = WorkOrder.objects.get(pk=order.pk)
    assert runs_the_kiln(order)


def test_of_two_who_change_it_at_once_the_second_is_told(ilse: User) -> None:
    own = copy_of(shipped(), ilse)
    change(own, {**content_of(own), "title": "First"}, version=1, why="", by=ilse)
    with pytest.raises(ValidationError, match="ilse changed this meanwhile: it is at version 2, you began with 1"):
        change(own, {**content_of(own), "title": "Second"}, version=1, why="", by=ilse)


def test_nothing_different_makes_no_version(ilse: User) -> None:
    own = copy_of(shipped(), ilse)
    assert not change(own, content_of(own), version=1, why="", by=ilse)
    assert not SheetVersion.objects.exists()


def test_what_work_on_record_rests_on_stays(ilse: User) -> None:
    own = copy_of(shipped(), ilse)
    change(own, {**content_of(own), "is_proof_test": True}, version=1, why="", by=ilse)
    job(own)
    with pytest.raises(ValidationError, match="work on record rests on it"):
        change(own, {**content_of(own), "is_proof_test": False}, version=2, why="", by=ilse)


# --- withdrawing ----------------------------------------------------------------------------------


def test_no_new_work_comes_from_a_withdrawn_sheet_until_it_is_brought_back(ilse: User) -> None:
    own = copy_of(shipped(), ilse)
    withdraw(own, "We have a better one.", by=ilse)
    own.refresh_from_db()
    with pytest.raises(ValidationError, match="We have a better one"):
        job(own, by=ilse)
    assert own not in TaskSheet.objects.in_use()
    bring_back(own, by=ilse)
    own.refresh_from_db()
    assert job(own, by=ilse).sheet == own


def test_what_recurs_and_what_watches_go_on_by_the_sheet_that_takes_its_place(ilse: User) -> None:
    sheet = shipped()
    task, watch = standing(sheet=sheet), a_watch(sheet)
    own = copy_of(sheet, ilse)
    withdraw(sheet, "Ours is better.", instead=own, by=ilse)
    task.refresh_from_db()
    watch.refresh_from_db()
    assert (task.sheet, task.is_active, watch.sheet) == (own, True, own)
    assert Change.objects.about(task).filter(act="goes on by another sheet").exists()


def recurring(folder: Path, sheet: str) -> Path:
    """A file by which a sheet is to recur on K1."""
    text = f"code,sheet,kiln,anchor_on,every,every_unit\nagain,{sheet},K1,2026-12-01,1,month\n"
    (folder / "recurring_tasks.csv").write_text(text)
    return folder


def test_without_another_sheet_it_recurs_no_longer(ilse: User, tmp_path: Path) -> None:
    task = standing(sheet=shipped())
    withdraw(task.sheet, "Nobody needs it.", by=ilse)
    task.refresh_from_db()
    assert not task.is_active
    with pytest.raises(ValidationError, match="is withdrawn"):
        resume_standing_task(task, version=task.version, by=ilse)
    assert load_folder(recurring(tmp_path, task.sheet.code)).faults[0].reason.startswith("this task sheet is withdrawn")


def test_safety_work_needs_the_sheet_by_which_it_goes_on(ilse: User) -> None:
    task = standing(sheet=shipped(), is_safety=True)
    with pytest.raises(ValidationError, match="Safety work recurs by it"):
        withdraw(task.sheet, "Too much work.", by=ilse)


def test_the_only_proof_test_of_a_kind_stays(ilse: User) -> None:
    sheet = shipped(is_proof_test=True)
    with pytest.raises(ValidationError, match="only proof test"):
        withdraw(sheet, "Ours is better.", by=ilse)
    own = copy_of(sheet, ilse)
    withdraw(sheet, "Ours is better.", instead=own, by=ilse)
    sheet.refresh_from_db()
    assert sheet.is_withdrawn


# --- check points ---------------------------------------------------------------------------------


def test_a_check_under_way_keeps_what_its_points_asked(ilse: User) -> None:
    kiln = KilnFactory()
    shipped_point = CheckPointFactory()
    ComponentFactory(kiln=kiln, kind=shipped_point.kind)
    own = make(CheckPoint(), content_of(shipped_point), key=uuid4(), by=ilse, copied=shipped_point)
    withdraw(shipped_point, "Ours is better.", by=ilse)
    check = FunctionCheck.objects.create(number="FC-1", kiln=kiln, started_at=clock.now())
    (item,) = items_for(check)
    item.save()
    change(own, {**content_of(own), "criterion": "No crack longer than 2 mm."}, version=1, why="", by=ilse)

    read = check.items.select_related("point").get()
    put_as_asked([read])
    assert read.point.pk == own.pk
    assert read.point.criterion == "No crack, no loose screw."
    assert PointVersion.objects.get().content["criterion"] == "No crack, no loose screw."


def test_a_point_that_bars_entry_is_withdrawn_only_where_its_copy_asks_for_it(ilse: User) -> None:
    point = CheckPointFactory(blocks_entry=True)
    CheckPointFactory(code="another", kind=point.kind, blocks_entry=True)
    with pytest.raises(ValidationError, match="keeps people out"):
        withdraw(point, "Tedious.", by=ilse)
    own = make(CheckPoint(), content_of(point), key=uuid4(), by=ilse, copied=point)
    withdraw(point, "Ours is better.", by=ilse)
    with pytest.raises(ValidationError, match="keeps people out"):
        withdraw(own, "Tedious.", by=ilse)
    with pytest.raises(ValidationError, match="keeps people out"):
        change(own, {**content_of(own), "blocks_entry": False}, version=1, why="Tedious.", by=ilse)
    bring_back(point, by=ilse)
    withdraw(own, "The shipped one does.", by=ilse)
    own.refresh_from_db()
    assert own.is_withdrawn


def test_that_the_original_changed_is_told_until_somebody_has_looked(ilse: User) -> None:
    sheet = shipped()
    own = copy_of(sheet, ilse)
    TaskSheet.objects.filter(pk=sheet.pk).update(version=2)
    own = TaskSheet.objects.select_related("copied_from").get(pk=own.pk)
    assert own.has_news
    take_note(own, by=ilse)
    assert not TaskSheet.objects.select_related("copied_from").get(pk=own.pk).has_news
