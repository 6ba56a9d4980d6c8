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
# What Django, its task queue and the storey itself look for by name; and paths that migrations reach into.
FILES = {
    "plant": {
        "access.py",
        "apps.py",
        "checks.py",
        "clock.py",
        "context.py",
        "fields.py",
        "middleware.py",
        "migration_ops.py",
        "patterns.py",
        "signals.py",
        "tasks.py",
        "urls.py",
        "validators.py",
    },
    "maintenance": {"apps.py", "patterns.py", "tasks.py", "urls.py"},
}
MOST_LINES = 500


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
    assert {str(room.relative_to(ROOT)) for room in rooms() if not (room / "README.md").exists()} == set()


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


@pytest.mark.parametrize("storey", STOREYS)
def test_only_rooms_and_what_is_looked_for_by_name_lie_directly_in_a_storey(storey: str) -> None:
    files = {path.name for path in (ROOT / storey).iterdir() if path.is_file()}
    assert files <= FILES[storey] | {"__init__.py"}
    folders = {
        path.name for path in (ROOT / storey).iterdir() if any(path.glob("**/*.py")) or any(path.glob("**/*.html"))
    }
    assert folders - {room.name for room in rooms() if room.parent.name == storey} <= DJANGOS_FOLDERS


def test_no_file_of_the_product_is_longer_than_500_lines() -> None:
    found = [
        path.relative_to(ROOT)
        for storey in ("config", "inventory", *STOREYS)
        for path in (ROOT / storey).rglob("*")
        if path.suffix in {".py", ".html"} and "migrations" not in path.parts
    ]
    lines = {str(path): len((ROOT / path).read_text(encoding="utf-8").splitlines()) for path in found}
    longer = {path: count for path, count in lines.items() if count > MOST_LINES}
    assert found
    assert longer == {}
