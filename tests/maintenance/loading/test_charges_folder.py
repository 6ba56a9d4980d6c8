"""Files of charges in a watched folder: each whole one once, all or nothing, and never over what a person said."""

import os
import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
import time_machine
from django.test import Client
from openpyxl import Workbook

from maintenance.loading.charges_folder import TASK, look_at_charges_folder, take_in_charges
from maintenance.models import FilesBrought
from plant.charges import planning, telling
from plant.charges.calculations.told import ChargeTimes
from plant.charges.claims import disagreements
from plant.kilns.kilns_now import kilns_now
from plant.models import Charge, ChargeClaim, ChargeWord, Job, Kiln, Mill, User
from tests.factories import MONDAY, ChargeFactory, KilnFactory, UserFactory

NOW = MONDAY + timedelta(days=2)
DAY = timedelta(days=1)
HEAD = "kiln,number,species,thickness_mm,volume_m3,basis,planned_begin_at,planned_end_at"


@pytest.fixture(autouse=True)
def _wednesday(db: None) -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def folder(tmp_path: Path, settings: Any) -> Path:
    settings.DATA_DIR = tmp_path / "data"
    made = tmp_path / "charges"
    made.mkdir()
    settings.CHARGES_DIR = str(made)
    return made


@pytest.fixture
def kiln() -> Kiln:
    made: Kiln = KilnFactory()
    return made


def laid_down(path: Path, age_s: int = 60) -> Path:
    os.utime(path, (time.time() - age_s, time.time() - age_s))
    return path


def row(number: str, days: int, thickness_mm: int = 50, basis: str = "planned") -> str:
    begin, end = (f"{NOW + n * DAY:%Y-%m-%d} 06:00" for n in (days, days + 4))
    return f"K1,{number},spruce,{thickness_mm},55,{basis},{begin},{end}"


def write(folder: Path, *rows: str, name: str = "week.csv", age_s: int = 60) -> Path:
    path = folder / name
    path.write_text("\n".join([HEAD, *rows]) + "\n", encoding="utf-8")
    return laid_down(path, age_s)


def numbers() -> list[str]:
    return list(Charge.objects.order_by("number").values_list("number", flat=True))


def test_a_whole_file_is_taken_once_and_a_changed_one_anew(folder: Path, kiln: Kiln) -> None:
    write(folder, row("26-1", 1), age_s=2)
    assert take_in_charges() == {"taken_in": 0, "refused": 0}
    write(folder, row("26-1", 1))
    assert take_in_charges() == {"taken_in": 1, "refused": 0}
    assert take_in_charges() == {"taken_in": 0, "refused": 0}
    write(folder, row("26-1", 2), row("26-2", 7), name="again.csv")
    take_in_charges()
    assert numbers() == ["26-1", "26-2"]
    assert FilesBrought.objects.filter(state="taken", by=None).count() == 2
    assert (folder / "week.csv").exists()


def test_a_faulty_file_keeps_nothing_and_says_why(folder: Path, kiln: Kiln) -> None:
    write(folder, row("26-1", 1), row("26-2", 2))
    write(folder, "K9,26-3,spruce,50,55,planned,2026-12-01 06:00,2026-12-05 06:00", name="other.csv")
    assert take_in_charges() == {"taken_in": 0, "refused": 2}
    assert numbers() == []
    reasons = [fault["reason"] for one in FilesBrought.objects.all() for fault in one.report["faults"]]
    assert any("overlaps charge 26-1" in reason for reason in reasons)
    assert len(reasons) == 2


def test_a_workbook_does_as_well_and_no_other_table_comes_in_this_way(folder: Path, kiln: Kiln) -> None:
    book = Workbook()
    for line in (HEAD, row("26-1", 1)):
        book.active.append(line.split(","))
    book.save(folder / "week.xlsx")
    laid_down(folder / "week.xlsx")
    (folder / "crew.csv").write_text("code,name,role\nx,X,administrator\n", encoding="utf-8")
    laid_down(folder / "crew.csv")
    assert take_in_charges() == {"taken_in": 1, "refused": 1}
    assert numbers() == ["26-1"]
    assert not User.objects.exists()


def test_what_a_person_planned_or_told_is_left_alone_and_both_stand_side_by_side(folder: Path, kiln: Kiln) -> None:
    ilse = UserFactory(username="ilse", role="kiln_master")
    wanted = Charge(kiln=kiln, number="26-1", species="spruce", thickness_mm=50, volume_m3=55)
    times = ChargeTimes(NOW + DAY, NOW + 5 * DAY)
    charge = planning.keep(wanted, times, seen=planning.look(wanted, times).mark, key=uuid4(), by=ilse)
    write(folder, row("26-1", 2, thickness_mm=38), row("26-2", 7))
    assert take_in_charges()["taken_in"] == 1
    charge.refresh_from_db()
    assert (charge.begin_at, charge.thickness_mm, numbers()) == (NOW + DAY, 50, ["26-1", "26-2"])
    (shown,) = disagreements([kiln])[kiln.pk]
    assert (shown.source, shown.rows[0]) == ("the charges folder", ("thickness in mm", "50", "38"))
    telling.tell(charge, "started", NOW, key=uuid4(), by=ilse)
    ChargeClaim.objects.all().delete()
    write(folder, row("26-1", 2), row("26-2", 7), name="late.csv")
    assert take_in_charges()["taken_in"] == 1
    charge.refresh_from_db()
    # The file lags behind: that the charge runs is no news to anybody.
    assert (charge.basis, disagreements([kiln])) == ("running", {})


def test_the_answer_names_the_folder_as_its_button_does(folder: Path, kiln: Kiln, client: Client) -> None:
    ilse = UserFactory(username="ilse", role="kiln_master")
    wanted = Charge(kiln=kiln, number="26-1", species="spruce", thickness_mm=50, volume_m3=55)
    times = ChargeTimes(NOW + DAY, NOW + 5 * DAY)
    planning.keep(wanted, times, seen=planning.look(wanted, times).mark, key=uuid4(), by=ilse)
    write(folder, row("26-1", 2))
    take_in_charges()
    client.force_login(ilse)
    assert "Take what the charges folder says" in client.get("/charges/").content.decode()
    claim = ChargeClaim.objects.get()
    page = client.post(f"/charges/K1/claims/{claim.pk}/", {"answer": "theirs"}, follow=True).content.decode()
    assert "What the charges folder says is on record now." in page


def test_the_look_each_minute_wants_the_task_only_for_what_is_new(folder: Path, kiln: Kiln, settings: Any) -> None:
    look_at_charges_folder()
    assert not Job.objects.filter(what=TASK).exists()
    write(folder, row("26-1", 1))
    look_at_charges_folder()
    look_at_charges_folder()
    assert Job.objects.filter(what=TASK).count() == 1
    settings.CHARGES_DIR = str(folder / "gone")
    look_at_charges_folder()
    settings.CHARGES_DIR = ""
    assert take_in_charges() == {"taken_in": 0, "refused": 0}


FULL = "kiln,number,species,thickness_mm,volume_m3,basis,begin_at,end_at"


def lay_down_full(folder: Path, name: str, number: str, basis: str, begin_h: int, end_h: int) -> None:
    zone = Mill.objects.get().zone
    begin, end = (f"{(NOW + timedelta(hours=h)).astimezone(zone):%Y-%m-%d %H:%M}" for h in (begin_h, end_h))
    path = folder / name
    path.write_text(f"{FULL}\nK1,{number},spruce,50,55,{basis},{begin},{end}\n", encoding="utf-8")
    laid_down(path)


def test_what_a_file_tells_of_a_charge_in_the_kiln_is_told_by_no_person_and_nobody_goes_in_by_it(
    folder: Path, kiln: Kiln
) -> None:
    charge = ChargeFactory(kiln=kiln, begin_at=NOW - 4 * DAY + 3 * timedelta(hours=1), basis="running", days=4)
    before = kilns_now([kiln], NOW)[0]
    lay_down_full(folder, "out.csv", charge.number, "done", -93, -1)
    assert take_in_charges()["taken_in"] == 1
    word = ChargeWord.objects.get()
    assert (word.what, word.by_source, word.by) == ("unloaded", ChargeClaim.FOLDER, None)
    after = kilns_now([kiln], NOW)[0]
    assert (after.told, after.is_shut) == (before.told, True)
    assert after.state != before.state
    # Nor because a later charge is said to be out.
    lay_down_full(folder, "next.csv", "26-9", "done", -2, -1)
    assert take_in_charges() == {"taken_in": 0, "refused": 1}
    (fault,) = FilesBrought.objects.get(state="looked_at").report["faults"]
    assert "was in K1 last" in fault["reason"]
    assert kilns_now([kiln], NOW)[0].is_shut
