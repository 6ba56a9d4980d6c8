"""Defects become work in one step, are mended by work that is signed off, and are struck only with a reason."""

from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.test import Client

from maintenance.checks.defects import record_defect, strike_defect, work_order_from_defect
from maintenance.models import Defect, WorkOrder
from maintenance.work import course as act
from plant import clock
from plant.models import Change
from plant.templatetags.said import said as in_words
from tests.factories import ComponentFactory, DefectFactory, KilnFactory, TaskSheetFactory
from tests.maintenance.mill import a_user, signed_in

pytestmark = pytest.mark.django_db


def test_a_defect_becomes_a_work_order_in_one_step_and_only_once() -> None:
    component, master = ComponentFactory(), a_user("kiln_master")
    defect = DefectFactory(kiln=component.kiln, component=component, what="wobbles", likelihood="later")
    order = work_order_from_defect(defect, master)
    assert (order.origin, order.component, order.title) == ("finding", component, "Mend fan 3: wobbles")
    assert order.due_at - clock.now() > timedelta(days=50)
    assert work_order_from_defect(defect, master) == order


def test_the_only_task_sheet_of_a_kind_is_taken() -> None:
    component = ComponentFactory()
    sheet = TaskSheetFactory(kind=component.kind)
    order = work_order_from_defect(DefectFactory(kiln=component.kiln, component=component), a_user("technician"))
    assert (order.sheet, order.title, order.hours) == (sheet, sheet.title, sheet.hours)


def test_with_several_task_sheets_somebody_has_to_choose() -> None:
    component = ComponentFactory()
    first = TaskSheetFactory(kind=component.kind)
    TaskSheetFactory(kind=component.kind, code="fan-balance", title="Balance the fan")
    defect = DefectFactory(kiln=component.kiln, component=component)
    chosen = work_order_from_defect(defect, a_user("technician"), sheet=first)
    assert chosen.sheet == first


def test_a_withdrawn_work_order_leaves_the_defect_for_another() -> None:
    defect, planner = DefectFactory(), a_user("planner")
    order = work_order_from_defect(defect, planner)
    act.withdraw(order, by=planner, version=order.version, why="wrong sheet")
    defect.refresh_from_db()
    assert defect.cured_at is None
    assert work_order_from_defect(defect, planner) != order


def test_what_blocks_entry_is_safety_work_due_by_the_end_of_the_day() -> None:
    defect = record_defect(kiln=KilnFactory(), what="latch corroded", by=a_user("technician"), blocks_entry=True)
    order = work_order_from_defect(defect, a_user("technician"))
    zone = defect.kiln.mill.zone
    assert order.is_safety and order.safety_at == order.due_at
    assert order.due_at.astimezone(zone).strftime("%Y-%m-%d %H:%M") == f"{clock.today(zone)} 23:59"
    assert order.is_wanted_at_once
    defect.cured_at = clock.now()
    defect.save()
    assert not WorkOrder.objects.get(pk=order.pk).is_wanted_at_once
    assert "Nobody may enter" in in_words(order.why)
    assert [change.act for change in Change.objects.about(defect.kiln)] == ["barred to entry"]


def test_signing_off_cures_the_defect() -> None:
    defect, planner = DefectFactory(), a_user("planner")
    order = work_order_from_defect(defect, planner)
    WorkOrder.objects.filter(pk=order.pk).update(state="done")
    act.sign_off(order, by=planner, version=order.version)
    defect.refresh_from_db()
    assert defect.cured_at
    with pytest.raises(ValidationError, match="off the list already"):
        work_order_from_defect(DefectFactory(cured_at=clock.now()), planner)


def test_a_defect_without_words_is_refused() -> None:
    with pytest.raises(ValidationError, match="Say what is wrong"):
        record_defect(kiln=KilnFactory(), what="  ", by=a_user("technician"))


def test_an_auditor_records_nothing() -> None:
    with pytest.raises(PermissionDenied):
        record_defect(kiln=KilnFactory(), what="wobbles", by=a_user("auditor"))


def test_a_mistake_is_struck_with_a_reason_by_who_may_sign_off() -> None:
    defect, planner = DefectFactory(blocks_entry=True), a_user("planner")
    with pytest.raises(PermissionDenied):
        strike_defect(defect, by=a_user("technician", "per"), why="mistake")
    with pytest.raises(ValidationError, match="Say why"):
        strike_defect(defect, by=planner, why=" ")
    with pytest.raises(ValidationError, match="in a sentence"):
        strike_defect(defect, by=planner, why="wrong button")
    why = "The wrong button was pressed, the latch opens freely."
    strike_defect(defect, by=planner, why=why)
    assert not Defect.objects.blocking_entry().exists()
    assert Change.objects.about(defect).get().note == why


def test_a_defect_with_work_under_way_is_not_struck() -> None:
    defect, planner = DefectFactory(), a_user("planner")
    work_order_from_defect(defect, planner)
    with pytest.raises(ValidationError, match="withdraw that work order first"):
        strike_defect(defect, by=planner, why="mistake")


def test_what_mends_a_bar_is_wanted_at_once_on_the_day_and_overdue_after_it(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    planner = signed_in(client, a_user("planner"))
    defect = record_defect(kiln=KilnFactory(), what="latch corroded", by=None, blocks_entry=True)
    order = work_order_from_defect(defect, None)
    paths = ("/work-orders/", "/kilns/K1/", order.get_absolute_url())
    for path in paths:
        shown = planner.get(path).content.decode()
        assert ">at once<" in shown and ">overdue<" not in shown
    tomorrow = clock.now() + timedelta(days=1)
    monkeypatch.setattr("plant.clock.now", lambda: tomorrow)
    for path in paths:
        shown = planner.get(path).content.decode()
        assert ">overdue<" in shown and ">at once<" not in shown
