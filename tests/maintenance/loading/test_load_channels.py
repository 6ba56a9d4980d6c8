"""The file of channels."""

from pathlib import Path
from typing import Any

import pytest

from plant.models import Channel
from tests.maintenance.loading.loading_mill import CATALOGUE, counts, load_files, reasons, write_files

pytestmark = pytest.mark.django_db

HEAD = "kiln,quantity,place,component,every_s\n"
CHANNELS = HEAD + "K1,wet_bulb,left,,60\nK1,fan_current,1,fan-1,300\nK1,door_open,,door-1,\n"


@pytest.fixture(autouse=True)
def _small_catalogue(settings: Any, tmp_path: Path) -> None:
    settings.FIXTURES_DIR = tmp_path / "fixtures"
    write_files(tmp_path / "fixtures" / "catalogue", dict(CATALOGUE))


def test_channels_are_kept_with_their_components(tmp_path: Path) -> None:
    assert reasons(load_files(tmp_path / "mill", {"channels": CHANNELS})) == []
    kept = {one.key: (one.component.tag if one.component else "", one.every_s) for one in Channel.objects.all()}
    assert kept == {"wet_bulb:left": ("", 60), "fan_current:1": ("fan-1", 300), "door_open": ("door-1", 60)}


def test_the_same_file_changes_nothing_and_another_pace_changes_the_channel(tmp_path: Path) -> None:
    load_files(tmp_path / "mill", {"channels": CHANNELS})
    assert counts(load_files(tmp_path / "mill", {"channels": CHANNELS})) == {(0, 0)}
    load_files(tmp_path / "mill", {"channels": HEAD + "K1,door_open,,door-1,900\n"})
    assert Channel.objects.get(quantity="door_open").every_s == 900
    assert Channel.objects.count() == 3


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("K1,wet_bulp,left,,60", "wet_bulb"),
        ("K1,wet_bulb,left side,,60", "this is no code"),
        ("K1,wet_bulb,on-the-far-side,,60", "12"),
        ("K2,fan_current,1,door-1,60", "no component of this kiln"),
        ("K1,wet_bulb,left,,0", "1"),
    ],
)
def test_a_faulty_row_is_told_and_nothing_is_kept(tmp_path: Path, line: str, said: str) -> None:
    report = load_files(tmp_path / "mill", {"channels": HEAD + line + "\n"})
    assert len(report.faults) == 1
    assert said in str(report.faults[0])
    assert not Channel.objects.exists()
