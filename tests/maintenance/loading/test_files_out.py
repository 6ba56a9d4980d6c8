"""Everything out again: the files that leave load into an empty database as the same mill, row by row."""

import io
import re
import zipfile
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.db import transaction
from openpyxl import load_workbook

from maintenance.demo.in_hand import ask_for_work
from maintenance.demo.told import tell_charges
from maintenance.demo.writing import write_demo
from maintenance.loading.loader import load_folder
from maintenance.loading.out import WRITERS, write_folder
from maintenance.loading.reading import read_sheet
from maintenance.watches.settings import set_up_watches
from plant.models import Charge, Kiln
from tests.maintenance.loading.drawn_mill import TEXTS, draw_mill
from tests.maintenance.loading.loading_mill import CATALOGUE, CHARGES, load_files, reasons, write_files
from tests.maintenance.loading.mill_as_kept import STAY, compared, mill_as_kept
from tests.test_access_walk import signed_in

pytestmark = pytest.mark.django_db
DAY = date(2026, 11, 25)


class _Gone(Exception):  # noqa: N818 (leaves a database as it was before)
    pass


def taken_out(fill: Callable[[], object], folder: Path, *, is_loaded_again: bool = True) -> dict[str, Any]:
    """Fill the database, write its files, and leave it empty again; return what was kept."""
    kept: dict[str, Any] = {}
    with pytest.raises(_Gone), transaction.atomic():
        fill()
        kept |= mill_as_kept()
        write_folder(folder)
        for form in ("csv", "xlsx") if is_loaded_again else ():
            # The mill itself takes its own files in again without a change.
            again = load_folder(folder / form, is_check=True)
            assert reasons(again) == []
            assert {name: str(found) for name, found in again.counts.items() if found.new or found.changed} == {}
        raise _Gone
    assert not Kiln.objects.exists()
    return kept


@pytest.fixture
def small_catalogue(settings: Any, tmp_path: Path) -> None:
    write_files(tmp_path / "fixtures" / "catalogue", dict(CATALOGUE))
    settings.FIXTURES_DIR = tmp_path / "fixtures"


@pytest.mark.parametrize(("seed", "form"), [(0, "csv"), (1, "xlsx"), (2, "csv")])
def test_a_mill_drawn_at_random_comes_back_as_it_was(
    small_catalogue: None, tmp_path: Path, seed: int, form: str
) -> None:
    kept = taken_out(lambda: draw_mill(seed), tmp_path / "out")
    assert reasons(load_folder(tmp_path / "out" / form)) == []
    assert_same(mill_as_kept(), kept)


def test_the_demo_mill_comes_back_as_it_was(tmp_path: Path) -> None:
    def fill() -> None:
        (tmp_path / "demo").mkdir()
        write_demo(tmp_path / "demo", DAY, months=2)
        assert load_folder(tmp_path / "demo").is_sound
        ask_for_work(DAY)
        set_up_watches(Kiln.objects.all()[0], by=None, switched_on=True)
        tell_charges(DAY)

    kept = taken_out(fill, tmp_path / "out", is_loaded_again=False)
    assert len(kept["Charge"]) > 50
    assert len(kept["WorkOrder"]) > 20
    assert len(kept["Watch"]) > 10
    assert any(("origin", "asked_for") in row and ("done_at", None) in row for row in kept["WorkOrder"])
    assert reasons(load_folder(tmp_path / "out" / "csv")) == []
    assert_same(mill_as_kept(), kept)


def assert_same(found: dict[str, Any], kept: dict[str, Any]) -> None:
    for model in kept:
        assert found[model] == kept[model], model


def test_every_record_either_leaves_or_stays_for_a_reason() -> None:
    names = {model.__name__ for model in compared()}
    assert names.isdisjoint(STAY)
    assert {"Mill", "Kiln", "Charge", "Phase", "Downtime", "StandingTask", "WorkOrder", "StockMove"} <= names


@pytest.fixture
def little_mill(small_catalogue: None, settings: Any, tmp_path: Path) -> None:
    (tmp_path / "fixtures" / "words").symlink_to(settings.BASE_DIR / "fixtures" / "words")
    settings.DATA_DIR = tmp_path / "data"
    load_files(
        tmp_path / "mill", {"charges": CHARGES + "K1,=7,spruce,50,58,planned,2030-02-02 06:00,2030-02-06 10:00\n"}
    )


def test_everything_leaves_by_a_page_in_one_archive_that_can_be_brought_again(little_mill: None) -> None:
    planner = signed_in("planner")
    answer = planner.get("/files/out/everything.zip")
    sent = b"".join(answer.streaming_content)  # type: ignore[attr-defined]
    with zipfile.ZipFile(io.BytesIO(sent)) as packed:
        assert {"csv/charges.csv", "xlsx/charges.xlsx", "csv/mill.csv"} <= set(packed.namelist())
        assert "'=7" in packed.read("csv/charges.csv").decode()
        sheet = load_workbook(io.BytesIO(packed.read("xlsx/charges.xlsx"))).active
    assert sheet is not None
    cells = dict(zip(*sheet.iter_rows(max_row=2, values_only=True), strict=True))
    assert (cells["volume_m3"], cells["number"], cells["species"]) == (58, "'=7", "spruce")
    administrator = signed_in("administrator")
    page = administrator.post(
        "/files/", {"key": str(uuid4()), "sent": SimpleUploadedFile("everything.zip", sent)}, follow=True
    ).content.decode()
    assert "The files change nothing" in page
    assert "the CSV files were looked at" in page
    for form in ("csv", "xlsx"):
        assert planner.get(f"/files/out/{form}.zip").status_code == 200
    assert signed_in("technician").get("/files/out/csv.zip").status_code == 403


def test_everything_leaves_by_a_command_that_overwrites_nothing(little_mill: None, tmp_path: Path) -> None:
    call_command("files_out", str(tmp_path / "out"), stdout=io.StringIO())
    assert (tmp_path / "out" / "xlsx" / "kilns.xlsx").exists()
    with pytest.raises(CommandError, match="there already"):
        call_command("files_out", str(tmp_path / "out"))


def test_without_a_mill_nothing_leaves(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="no mill"):
        call_command("files_out", str(tmp_path / "out"))
    assert signed_in("planner").get("/files/out/csv.zip", follow=True).status_code == 200


def test_a_charge_that_was_taken_out_is_not_planned_anew_in_silence(little_mill: None, tmp_path: Path) -> None:
    Charge.objects.update(taken_out_at=datetime(2026, 11, 24, 9, 30, tzinfo=UTC))
    row = "K1,=7,spruce,50,58,planned,2030-02-02 06:00,2030-02-06 10:00"
    (fault,) = load_folder(write_files(tmp_path / "again", {"charges": f"{CHARGES}{row}\n"})).faults
    assert "was taken out of the programme on 2026-11-24 at 10:30: decide" in fault.reason
    assert "plan_anew" in fault.remedy
    decided = f"{CHARGES.strip()},plan_anew\n{row},yes\n"
    assert reasons(load_folder(write_files(tmp_path / "again", {"charges": decided}))) == []
    assert Charge.objects.get().number == "=7"
    assert Charge.ever.count() == 2


def test_no_file_takes_a_charge_out_of_the_programme(little_mill: None, tmp_path: Path) -> None:
    row = "K1,=7,spruce,50,58,planned,2030-02-02 06:00,2030-02-06 10:00,2026-11-01 08:00"
    charges = f"{CHARGES.strip()},taken_out_at\n{row}\n"
    (fault,) = load_folder(write_files(tmp_path / "again", {"charges": charges})).faults
    assert "the charge is in the programme" in fault.reason


@pytest.mark.parametrize("text", TEXTS)
def test_whatever_a_text_looks_like_it_comes_in_again_the_same(text: str, tmp_path: Path) -> None:
    told = (["code", "place"], [["A-01", text]])
    for form, write in WRITERS.items():
        path = tmp_path / f"bins.{form}"
        path.write_bytes(write(told))
        (row,) = read_sheet(path, "bins", ("code", "place"), 10**6).rows
        assert row[1]["place"] == text
        if form == "csv":
            assert not re.search(r"(^|,)\"?[=@+-]", path.read_text(encoding="utf-8-sig"))
