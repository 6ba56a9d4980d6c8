"""The product's catalogue and templates, as they ship."""

from io import StringIO
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command

from maintenance.loading.describe import describe
from maintenance.loading.loader import load_catalogue, load_folder
from maintenance.models import CheckPoint, StandingDefault, TaskSheet, Watch
from plant.models import Change

pytestmark = pytest.mark.django_db


def test_the_catalogue_loads_and_a_second_time_changes_nothing() -> None:
    assert [str(fault) for fault in load_catalogue().faults] == []
    assert not load_catalogue().has_changes
    assert not Change.objects.exists()


def test_every_task_sheet_has_a_skill_a_caution_and_its_source() -> None:
    load_catalogue()
    assert not TaskSheet.objects.filter(skills__isnull=True).exists()
    assert not TaskSheet.objects.filter(cautions__isnull=True).exists()
    assert not TaskSheet.objects.filter(source="").exists()


def test_what_is_hidden_by_cladding_has_its_substitute() -> None:
    load_catalogue()
    point = CheckPoint.objects.get(code="inner-skin-surface")
    assert point.substitute is not None
    assert point.substitute.kind.code == "outer-skin"


def test_a_changed_row_is_brought_up_to_date_and_a_missing_one_stays() -> None:
    load_catalogue()
    TaskSheet.objects.filter(code="wick-exchange").update(title="Another")
    StandingDefault.objects.filter(sheet__code="wick-exchange").update(every=99)
    report = load_catalogue()
    assert (report.counts["task_sheets"].changed, report.counts["standing_defaults"].changed) == (1, 1)


def test_the_templates_example_rows_load(tmp_path: Path) -> None:
    call_command("templates", str(tmp_path / "mill"), stdout=StringIO())
    for is_new in (True, False):
        report = load_folder(tmp_path / "mill")
        assert [str(fault) for fault in report.faults] == []
        assert report.has_changes == is_new


def test_templates_never_overwrite_a_file(tmp_path: Path) -> None:
    (tmp_path / "kilns.csv").write_text("mine")
    with pytest.raises(CommandError, match=r"kilns\.csv"):
        call_command("templates", str(tmp_path), stdout=StringIO())
    assert [path.name for path in tmp_path.iterdir()] == ["kilns.csv"]
    assert (tmp_path / "kilns.csv").read_text() == "mine"


def test_the_description_of_the_files_is_up_to_date() -> None:
    assert (settings.FIXTURES_DIR / "FILES.md").read_text(encoding="utf-8") == describe()


def test_every_faulty_watch_is_listed_with_its_column(tmp_path: Path) -> None:
    load_catalogue()
    header = (settings.FIXTURES_DIR / "catalogue" / "watches.csv").read_text(encoding="utf-8").splitlines()[0]
    numbers, end = "side=below; limit=1; clear=2", ",,1,,,"
    rows = [
        f"a,A,depression:*,limit,{numbers},drying,psychrometer,wick-dry,notice,3,wick-exchange,Dry.{end}",
        f"b,B,depression:*,limit,{numbers},drying,psychrometer,wick-wet,notice,3,wick-exchange,Dry.{end}",
        f"c,C,colour:*,limit,{numbers},drying,psychrometer,wick-dry,notice,3,wick-exchange,Dry.{end}",
        f"d,D,depression:*,limit,limit=1,drying,psychrometer,wick-dry,notice,3,wick-exchange,Dry.{end}",
        f"e,E,depression:*,limit,{numbers},drying,psychrometer,wick-dry,loud,3,no-sheet,Dry.{end}",
        f"a,A,depression:*,limit,{numbers},drying,psychrometer,wick-dry,notice,3,wick-exchange,Dry.{end}",
    ]
    (tmp_path / "watches.csv").write_text("\n".join([header, *rows]), encoding="utf-8")
    report = load_catalogue(tmp_path)
    assert [(fault.row, fault.column) for fault in report.faults] == [
        (3, "failure_modes"),
        (4, "signal"),
        (5, "rule"),
        (6, "task_sheet"),
        (7, "code"),
    ]
    assert not Watch.objects.exists()
