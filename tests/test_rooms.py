"""The rooms of the house: each has a page, and the pages are true of the files."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings

ROOT: Path = settings.BASE_DIR
STOREYS = ("plant", "maintenance")
# What Django looks for directly in a storey, beside the rooms.
DJANGOS_FOLDERS = {"management", "migrations", "static", "templates", "templatetags"}
NAMED_FILE = re.compile(r"`([\w./-]+\.(?:py|csv|md))`")
# A room that a colleague is still emptying has no page.
WITHOUT_PAGE = {"maintenance/calculations"}


def rooms() -> Iterator[Path]:
    for storey in STOREYS:
        for folder in sorted((ROOT / storey).iterdir()):
            is_package = folder.is_dir() and (folder / "__init__.py").exists()
            if is_package and folder.name not in DJANGOS_FOLDERS:
                yield folder


def told() -> list[Path]:
    folders = [ROOT / name for name in ("config", "inventory", *STOREYS)]
    return [ROOT / "DEVELOPERS.md", *sorted(page for folder in folders for page in folder.rglob("*.md"))]


def test_each_room_has_a_page() -> None:
    without = {str(room.relative_to(ROOT)) for room in rooms() if not (room / "README.md").exists()}
    assert without <= WITHOUT_PAGE


@pytest.mark.parametrize("leaf", told(), ids=lambda leaf: str(leaf.relative_to(ROOT)))
def test_files_that_a_page_names_are_there(leaf: Path) -> None:
    named = NAMED_FILE.findall(leaf.read_text(encoding="utf-8"))
    if leaf.parent == ROOT:
        # The top page tells which names files have in every room.
        named = [name for name in named if "/" in name]
    gone = [name for name in named if not (leaf.parent / name).exists() and not (ROOT / name).exists()]
    assert gone == []


def test_no_two_rooms_share_a_folder_of_templates() -> None:
    folders = [path.name for storey in STOREYS for path in (ROOT / storey).glob("*/templates/*")]
    assert sorted(folders) == sorted(set(folders))
