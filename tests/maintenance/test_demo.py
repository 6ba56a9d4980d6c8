"""The demo mill: the same for the same day, sound, full of life, and never in the way of a real one."""

import os
from collections.abc import Iterator
from datetime import date
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, transaction

from inventory.models import PurchaseOrder, StockLevel
from maintenance.demo.setting_up import DEMO_PASSWORD, OtherMillError, clear_demo, day_of_demo, set_up
from maintenance.demo.writing import write_demo
from maintenance.models import Defect, FunctionCheck, ProofTest, WorkOrder
from plant.access import Role
from plant.models import Change, Charge, Downtime, Kiln, Mill, Qualification, RoleHeld, User

DAY = date(2026, 11, 25)
MONTHS = 3


@pytest.fixture(autouse=True)
def _leave_the_day_alone(settings: Any) -> Iterator[None]:
    # Overridden here, so that what the command sets ends with the test.
    settings.KILNWARD_TODAY = ""
    yield
    os.environ.pop("KILNWARD_TODAY", None)


def demo(*args: str) -> str:
    output = StringIO()
    call_command("demo", "--no-serve", "--months", str(MONTHS), *args, stdout=output)
    return output.getvalue()


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_the_same_day_gives_the_same_bytes(tmp_path: Path) -> None:
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        write_demo(tmp_path / name, DAY, months=MONTHS)
    assert contents(tmp_path / "one") == contents(tmp_path / "two")


@pytest.mark.django_db
@pytest.mark.parametrize("day", [date(2026, 3, 29), date(2026, 10, 25), date(2028, 2, 29), date(2027, 1, 1)])
def test_it_loads_on_days_on_which_clocks_and_calendars_are_odd(day: date, settings: Any) -> None:
    settings.KILNWARD_TODAY = day.isoformat()
    report = set_up(day, months=2)
    assert report.faults == []
    assert Charge.objects.filter(basis="running").count() >= 4


@pytest.mark.django_db
def test_every_page_has_life(settings: Any) -> None:
    settings.KILNWARD_TODAY = DAY.isoformat()
    set_up(DAY, months=MONTHS)
    assert Kiln.objects.count() == 8
    assert set(RoleHeld.objects.values_list("role", flat=True)) == set(Role.values)
    assert all(user.check_password(DEMO_PASSWORD) for user in User.objects.all())
    assert Downtime.objects.still_open().get().kiln.tag == "K3"
    assert FunctionCheck.objects.under_way().get().kiln.tag == "K5"
    assert Defect.objects.not_cured().count() >= 5
    assert ProofTest.objects.count() >= 15
    assert WorkOrder.objects.filter(state="signed_off").count() > 100
    assert PurchaseOrder.objects.on_the_way().filter(promised_on__lt=DAY).exists()
    assert Qualification.objects.filter(valid_until__gt=DAY, valid_until__lt=date(2026, 12, 20)).exists()
    assert not StockLevel.objects.filter(on_hand__lt=0).exists()


@pytest.mark.django_db
def test_the_command_tells_what_a_planner_wants_to_read() -> None:
    told = demo("--today", "2026-11-25")
    for expected in (
        "Wednesday 25 November 2026",
        "Openings in the next",
        "To order",
        "K3 stands still",
        DEMO_PASSWORD,
    ):
        assert expected in told
    assert os.environ["KILNWARD_TODAY"] == "2026-11-25"
    orders = WorkOrder.objects.count()
    changes = Change.objects.filter(act="files loaded").count()
    demo("--today", "2026-11-25")
    assert WorkOrder.objects.count() == orders
    assert Change.objects.filter(act="files loaded").count() == changes


@pytest.mark.django_db
def test_a_demo_of_an_earlier_day_is_kept_and_goes_on_standing_there(settings: Any) -> None:
    demo("--today", "2026-11-20")
    settings.KILNWARD_TODAY = ""
    told = demo()
    assert "it stands on 2026-11-20" in told
    assert settings.KILNWARD_TODAY == "2026-11-20"


@pytest.mark.django_db
def test_another_day_is_given_only_with_a_fresh_start() -> None:
    demo("--today", "2026-11-20")
    with pytest.raises(CommandError, match="stands on 2026-11-20"):
        demo("--today", "2026-11-25")
    demo("--today", "2026-11-25", "--fresh")
    assert day_of_demo() == DAY


@pytest.mark.django_db
def test_ledgers_are_guarded_again_after_a_fresh_start(settings: Any) -> None:
    settings.KILNWARD_TODAY = DAY.isoformat()
    set_up(DAY, months=2)
    clear_demo()
    assert not Mill.objects.exists()
    set_up(DAY, months=2)
    with pytest.raises(DatabaseError), transaction.atomic():
        Change.objects.all().delete()


@pytest.mark.django_db
def test_the_demo_stays_out_of_a_real_mill() -> None:
    Mill.objects.create(name="Another Sawmill")
    for args in ((), ("--fresh",)):
        with pytest.raises(CommandError, match="holds a mill of its own"):
            demo(*args)
    with pytest.raises(OtherMillError):
        clear_demo()
    assert Mill.objects.count() == 1


@pytest.mark.parametrize("args", [("--today", "tomorrow"), ("--today", "2026-02-30")])
@pytest.mark.django_db
def test_what_is_no_day_is_refused(args: tuple[str, ...]) -> None:
    with pytest.raises(CommandError, match="YYYY-MM-DD"):
        demo(*args)
