"""Nobody confirms what cannot be so: cautions are filtered by the state of the kiln and by what is done."""

from typing import Any

import pytest
from django.test import Client

from maintenance.checks.checks import start_check
from maintenance.loading.loader import load_catalogue
from maintenance.models import Caution, CheckPoint, TaskSheet
from plant.models import ComponentKind
from tests.factories import ComponentFactory, KilnFactory, MillFactory, WorkOrderFactory
from tests.maintenance.mill import a_user, signed_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def catalogue(db: None) -> None:
    assert load_catalogue().faults == []


def by_code(cautions: list[Caution]) -> dict[str, str]:
    return {one.code: one.must_be_so for one in cautions}


@pytest.fixture
def check(catalogue: None) -> Any:
    """A check by the product's own catalogue of a kiln with one component of each kind."""
    kiln = KilnFactory(mill=MillFactory())
    for kind in ComponentKind.objects.all():
        ComponentFactory(kiln=kiln, kind=kind, tag=kind.code)
    return start_check(kiln, by=a_user("kiln_master"))


def test_a_running_sitting_warns_of_the_running_kiln_and_asks_for_no_lock_out(check: Any) -> None:
    said = by_code(Caution.objects.for_sitting(check, "running"))
    assert list(said)[:2] == ["general", "beside-running"]
    assert {"fans", "steam", "hot-air-hatch"} <= set(said)
    assert not {"lock-out", "warm-chamber", "between-stacks", "height-inside", "chemicals"} & set(said)
    assert "stays outside" in said["beside-running"]
    assert not [words for words in said.values() if "locked" in words or "shut and" in words]


def test_an_open_sitting_asks_for_the_lock_out_and_names_the_energies(check: Any) -> None:
    said = by_code(Caution.objects.for_sitting(check, "open_empty"))
    assert {"lock-out", "warm-chamber", "between-stacks"} <= set(said)
    assert not {"beside-running", "hot-air-hatch"} & set(said)
    assert "Among them here:" in said["lock-out"] and "cars" in said["lock-out"] and "fans" in said["lock-out"]


@pytest.mark.parametrize("state", ["running", "open_empty"])
def test_whoever_confirms_is_told_what_to_confirm(check: Any, state: str) -> None:
    assert all(by_code(Caution.objects.for_sitting(check, state)).values())


@pytest.mark.parametrize(
    ("sheet", "said", "silent"),
    [
        ("trap-survey-high", {"beside-running", "steam"}, {"lock-out", "warm-chamber"}),
        ("trap-exchange", {"lock-out", "steam"}, {"beside-running"}),
        ("burner-safety-test", {"beside-running", "fuel-fired"}, {"warm-chamber"}),
        ("coil-clean", {"lock-out", "fans", "height-inside"}, {"hot-air-hatch"}),
        ("wick-exchange", {"lock-out", "hot-air-hatch"}, {"beside-running"}),
    ],
)
def test_a_job_has_the_cautions_of_its_sheet_that_hold_in_its_state(
    catalogue: None, sheet: str, said: set[str], silent: set[str]
) -> None:
    one = TaskSheet.objects.get(code=sheet)
    found = by_code(Caution.objects.for_work_order(WorkOrderFactory(sheet=one, needs_state=one.needs_state)))
    assert said <= set(found) and not silent & set(found)


def test_a_job_in_any_state_says_what_must_be_so_in_each(catalogue: None) -> None:
    one = TaskSheet.objects.get(code="pipe-insulation-mend")
    steam = by_code(Caution.objects.for_work_order(WorkOrderFactory(sheet=one, needs_state="any")))["steam"]
    assert steam.startswith("With the kiln off: Both valves are shut") and "While it runs: Look and listen" in steam


def test_jobs_together_keep_each_their_own_words(catalogue: None) -> None:
    running, off = (
        WorkOrderFactory(sheet=TaskSheet.objects.get(code=code), needs_state=state)
        for code, state in (("trap-survey-high", "running"), ("trap-exchange", "still"))
    )
    both = Caution.objects.for_work_orders([running, off])
    words = [by_code(both[order.pk])["steam"] for order in (running, off)]
    assert words[0] != words[1] and "locked" in words[1] and "locked" not in words[0]


def test_the_page_before_a_running_sitting_asks_to_stay_outside(client: Client, check: Any) -> None:
    signed_in(client, check.started_by)
    shown = client.get(f"/rounds/checks/{check.number}/sit/?kiln_state=running").content.decode()
    assert "I stay outside" in shown and "Beside a running kiln" in shown and "Lock out every energy" not in shown
    shown = client.get(f"/rounds/checks/{check.number}/sit/?kiln_state=open_empty").content.decode()
    assert "I stay outside" not in shown and "Lock out every energy" in shown


def test_a_point_says_what_holds_in_its_sitting(catalogue: None) -> None:
    travel = CheckPoint.objects.get(code="supply-flaps-travel")
    assert "lock-out" not in by_code(Caution.objects.for_point(travel, "running"))
    assert "lock-out" in by_code(Caution.objects.for_point(travel, "open_empty"))
