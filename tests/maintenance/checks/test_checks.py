"""A function check over several sittings: what it looks at, what it takes, and when it is complete."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from maintenance.checks.checks import (
    Answer,
    complete_check,
    end_sitting,
    record_finding,
    start_check,
    start_sitting,
    withdraw_check,
)
from maintenance.models import CheckItem, CheckPoint, Defect, Finding, FunctionCheck, Sitting
from plant import clock
from plant.models import Change, Kiln, User
from tests.factories import ChargeFactory, CheckPointFactory, ComponentFactory, ComponentKindFactory, KilnFactory
from tests.maintenance.mill import a_user, opened, shut

pytestmark = pytest.mark.django_db


def a_kiln(**fields: Any) -> Kiln:
    """Two fans, each with a point for the open and one for the running kiln."""
    kiln: Kiln = KilnFactory(is_reversing=False, **fields)
    for tag in ("fan-1", "fan-2"):
        ComponentFactory(kiln=kiln, tag=tag, name=tag.replace("-", " "))
    CheckPointFactory()
    CheckPointFactory(code="fans-run", what="All fans run", seen_in="running")
    return kiln


def codes(check: FunctionCheck) -> list[str]:
    return sorted(f"{item.point.code} {item.component.tag if item.component else '-'}" for item in check.items.all())


def sitting(check: FunctionCheck, by: User, state: str = "running") -> Sitting:
    return start_sitting(check, state, by=by, is_cautions_read=True, is_own_lock_on=True)


def item_of(check: FunctionCheck, code: str) -> CheckItem:
    item = check.items.filter(point__code=code).first()
    assert item
    return item


def found(item: CheckItem, at: Sitting, by: User, result: str = "sound", **answer: Any) -> Finding:
    return record_finding(item, at, Answer(result, **answer), by=by, key=uuid4())


def test_a_check_looks_at_every_component_in_use() -> None:
    kiln = a_kiln()
    ComponentFactory(kiln=kiln, tag="fan-3", is_active=False)
    check = start_check(kiln, by=a_user("kiln_master"))
    assert codes(check) == ["fan-blades fan-1", "fan-blades fan-2", "fans-run fan-1", "fans-run fan-2"]
    assert check.number == "FC-0001"


def test_points_of_the_kiln_come_once_and_only_where_the_kiln_has_such_a_thing() -> None:
    kiln = a_kiln()
    floor = ComponentKindFactory(code="floor-and-drain", group="surroundings", end_view_no=12)
    cars = ComponentKindFactory(code="kiln-car-track", group="surroundings", end_view_no=12)
    CheckPointFactory(code="floor-and-drains", kind=floor, per="kiln")
    CheckPointFactory(code="kiln-cars-tracks", kind=cars, per="kiln")
    assert "floor-and-drains -" in codes(start_check(kiln, by=a_user("kiln_master")))
    assert not CheckItem.objects.filter(point__code="kiln-cars-tracks").exists()


@pytest.mark.parametrize("is_reversing", [True, False])
def test_a_reversing_kiln_is_asked_for_sensors_on_both_sides_even_without_any(is_reversing: bool) -> None:
    kiln = a_kiln()
    kiln.is_reversing = is_reversing
    kiln.save()
    kind = ComponentKindFactory(code="thermometer", group="climate_sensing", end_view_no=8)
    CheckPointFactory(code="thermometers-both-sides", kind=kind, per="kiln", seen_in="either")
    check = start_check(kiln, by=a_user("kiln_master"))
    assert ("thermometers-both-sides -" in codes(check)) is is_reversing


def test_a_kiln_without_components_has_nothing_to_look_at() -> None:
    with pytest.raises(ValidationError, match="K1 has no components on record"):
        start_check(KilnFactory(), by=a_user("kiln_master"))
    assert not FunctionCheck.objects.exists()


def test_a_kiln_has_one_check_under_way() -> None:
    kiln, master = a_kiln(), a_user("kiln_master")
    assert start_check(kiln, by=master) == start_check(kiln, by=master)


def test_an_auditor_starts_none() -> None:
    with pytest.raises(PermissionDenied):
        start_check(a_kiln(), by=a_user("auditor"))


def test_a_check_is_complete_after_sittings_of_several_people_in_both_states() -> None:
    kiln, master, technician = a_kiln(), a_user("kiln_master"), a_user("technician", "una")
    check = start_check(kiln, by=master)
    running = sitting(check, master)
    for item in check.items.filter(point__seen_in="running"):
        found(item, running, master)
    assert CheckItem.objects.progress() == {check.pk: {"running": (2, 2), "open_empty": (0, 2)}}
    end_sitting(running, by=master)
    with pytest.raises(ValidationError, match="2 points have no finding"):
        complete_check(check, by=master)
    opened(kiln, technician)
    inside = sitting(check, technician, "open_empty")
    for item in check.items.filter(point__seen_in="open_empty"):
        found(item, inside, technician, "worn", note="bright ring")
    with pytest.raises(ValidationError, match="still under way"):
        complete_check(check, by=master)
    end_sitting(inside, by=technician)
    assert complete_check(check, by=master).completed_at
    with pytest.raises(ValidationError, match="closed"):
        sitting(check, master)


def test_a_sitting_against_the_charge_record_asks_for_a_reason() -> None:
    kiln, master = a_kiln(), a_user("kiln_master")
    ChargeFactory(kiln=kiln, begin_at=clock.now() - timedelta(days=8), days=5, basis="done")
    check = start_check(kiln, by=master)
    with pytest.raises(ValidationError, match="is open and empty now"):
        sitting(check, master)
    begun = start_sitting(check, "running", by=master, is_cautions_read=True, note="Trial run, unloaded")
    assert Change.objects.about(check).filter(note="Trial run, unloaded").exists()
    end_sitting(begun, by=master)
    opened(kiln, master)
    ChargeFactory(kiln=kiln, begin_at=clock.now() - timedelta(days=2), days=6, basis="running")
    with pytest.raises(ValidationError, match="runs now"):
        sitting(check, master, "open_empty")
    assert start_sitting(
        check, "open_empty", by=master, is_cautions_read=True, note="Fan failed, shut down", is_own_lock_on=True
    )


def test_a_kiln_without_charges_on_record_may_be_running() -> None:
    master = a_user("kiln_master")
    assert sitting(start_check(a_kiln(), by=master), master).kiln_state == "running"


def test_a_sitting_asks_for_the_cautions_and_inside_for_the_open_chamber() -> None:
    kiln, master = a_kiln(), a_user("kiln_master")
    check = start_check(kiln, by=master)
    with pytest.raises(ValidationError, match="Read the cautions"):
        start_sitting(check, "running", by=master, is_cautions_read=False)
    with pytest.raises(ValidationError, match="for entry first"):
        sitting(check, master, "open_empty")
    with pytest.raises(ValidationError, match="running or open and empty"):
        sitting(check, master, "either")


def test_a_point_is_judged_only_in_the_state_in_which_it_can_be_seen() -> None:
    kiln, master = a_kiln(), a_user("kiln_master")
    check = start_check(kiln, by=master)
    with pytest.raises(ValidationError, match="open and empty"):
        found(item_of(check, "fan-blades"), sitting(check, master), master)


def test_nobody_writes_into_the_sitting_of_another() -> None:
    check = start_check(a_kiln(), by=a_user("kiln_master"))
    at = sitting(check, a_user("kiln_master"))
    with pytest.raises(ValidationError, match="not your sitting"):
        found(item_of(check, "fans-run"), at, a_user("technician", "per"))


def test_a_later_finding_corrects_an_earlier_one_and_both_stay() -> None:
    master = a_user("kiln_master")
    check = start_check(a_kiln(), by=master)
    at, item = sitting(check, master), item_of(check, "fans-run")
    found(item, at, master, "worn", note="knocks")
    found(item, at, master, "sound")
    assert [finding.result for finding in item.findings.all()] == ["worn", "sound"]
    assert CheckItem.objects.with_latest().get(pk=item.pk).latest_result == "sound"
    assert Change.objects.about(check).filter(act="finding corrected").get().before == {"result": "worn"}


def test_a_finding_sent_twice_is_kept_once() -> None:
    master, key = a_user("kiln_master"), uuid4()
    check = start_check(a_kiln(), by=master)
    at, item = sitting(check, master), item_of(check, "fans-run")
    once = record_finding(item, at, Answer("sound"), by=master, key=key)
    assert record_finding(item, at, Answer("sound"), by=master, key=key) == once


# defects


def test_a_defect_goes_on_record_and_needs_words() -> None:
    master = a_user("kiln_master")
    check = start_check(a_kiln(), by=master)
    at, item = sitting(check, master), item_of(check, "fans-run")
    with pytest.raises(ValidationError, match="Say what is wrong"):
        found(item, at, master, "defect")
    found(item, at, master, "defect", note="does not start")
    defect = Defect.objects.get()
    assert (defect.what, defect.component, defect.blocks_entry) == ("does not start", item.component, False)
    found(item, at, master, "defect", note="still does not start")
    assert Defect.objects.count() == 1


def test_a_fault_of_the_way_out_closes_the_chamber_at_once_and_a_correction_does_not_open_it() -> None:
    kiln, master = a_kiln(), a_user("kiln_master")
    CheckPoint.objects.update(blocks_entry=True, seen_in="either")
    check = start_check(kiln, by=master)
    at, item = sitting(check, master), item_of(check, "fans-run")
    found(item, at, master, "defect", note="latch stiff")
    assert Defect.objects.blocking_entry().filter(kiln=kiln).exists()
    with pytest.raises(ValidationError, match="Nobody may enter"):
        opened(kiln, master)
    found(item, at, master, "sound")
    assert Defect.objects.blocking_entry().filter(kiln=kiln).exists()


# what cannot be seen


def a_clad_kiln() -> Kiln:
    kiln: Kiln = KilnFactory(is_reversing=False, is_inner_skin_visible=False)
    inner = ComponentKindFactory(code="inner-skin", group="envelope", end_view_no=1)
    outer = ComponentKindFactory(code="outer-skin", group="envelope", end_view_no=1)
    felt = CheckPointFactory(code="outer-skin-felt", kind=outer, seen_in="running")
    CheckPointFactory(code="inner-skin-surface", kind=inner, substitute=felt)
    ComponentFactory(kiln=kiln, kind=inner, tag="inner-skin")
    return kiln


def test_what_cannot_be_seen_asks_for_its_reason_and_its_substitute() -> None:
    kiln, master = a_clad_kiln(), a_user("kiln_master")
    check = start_check(kiln, by=master)
    opened(kiln, master)
    inside, item = sitting(check, master, "open_empty"), item_of(check, "inner-skin-surface")
    with pytest.raises(ValidationError, match="Say why"):
        found(item, inside, master, "not_seen")
    finding = found(item, inside, master, "not_seen", reason="clad with boards")
    assert finding.reason == "clad with boards"
    shut(kiln, master)
    with pytest.raises(ValidationError, match="1 points have no finding"):
        complete_check(check, by=master)
    running, stand_in = sitting(check, master), item_of(check, "outer-skin-felt")
    assert stand_in.is_substitute
    found(stand_in, running, master)
    end_sitting(running, by=master)
    assert complete_check(check, by=master).completed_at


def test_a_substitute_is_not_needed_once_the_point_was_seen_after_all() -> None:
    kiln, master = a_clad_kiln(), a_user("kiln_master")
    check = start_check(kiln, by=master)
    opened(kiln, master)
    inside, item = sitting(check, master, "open_empty"), item_of(check, "inner-skin-surface")
    found(item, inside, master, "not_seen", reason="lamp broken")
    found(item, inside, master, "sound")
    end_sitting(inside, by=master)
    assert complete_check(check, by=master).completed_at


def test_a_substitute_that_is_looked_at_anyway_is_not_asked_twice() -> None:
    kiln, master = a_clad_kiln(), a_user("kiln_master")
    ComponentFactory(kiln=kiln, kind=ComponentKindFactory(code="outer-skin"), tag="outer-skin")
    check = start_check(kiln, by=master)
    opened(kiln, master)
    found(item_of(check, "inner-skin-surface"), sitting(check, master, "open_empty"), master, "not_seen", reason="clad")
    assert check.items.count() == 2


def test_a_check_is_withdrawn_with_a_reason_and_keeps_its_findings() -> None:
    master = a_user("kiln_master")
    check = start_check(a_kiln(), by=master)
    found(item_of(check, "fans-run"), sitting(check, master), master)
    with pytest.raises(ValidationError, match="why"):
        withdraw_check(check, by=master, why="")
    withdraw_check(check, by=master, why="kiln is being rebuilt")
    assert Finding.objects.count() == 1
    assert not Sitting.objects.filter(ended_at__isnull=True).exists()
    assert start_check(check.kiln, by=master) != check
