"""What a newer catalogue changed of the task sheets and check points that ship: earlier versions kept, and told."""

from collections.abc import Mapping
from dataclasses import dataclass

from django.db import transaction

from maintenance.models import CheckPoint, TaskSheet
from maintenance.sheets.calculations.differences import differences
from maintenance.sheets.content import Content, point_contents, sheet_contents
from maintenance.sheets.keeping import supersede
from plant.basics.sentences import Sentence
from plant.models import Change

#: Acts of the history by which the page of the catalogue knows what its last update did.
CAME, CHANGED = "came with the catalogue", "brought up to date"


@dataclass(frozen=True)
class Shipped:
    """Id -> content of what shipped until now."""

    sheets: Mapping[int, Content]
    points: Mapping[int, Content]


def shipped_until_now() -> Shipped:
    """Return what ships as it is on record; eight queries at most."""
    return Shipped(sheet_contents(TaskSheet.objects.shipped()), point_contents(CheckPoint.objects.shipped()))


@transaction.atomic
def keep_versions(before: Shipped) -> list[str]:
    """Keep what was changed since as earlier versions, and say what changed, a line each.

    A first load has nothing to compare with and says nothing. What the mill wrote itself is not looked at.
    """
    if not before.sheets and not before.points:
        return []
    now = shipped_until_now()
    sheets = TaskSheet.objects.in_bulk(list(now.sheets))
    points = CheckPoint.objects.in_bulk(list(now.points))
    notes: list[str] = []
    for noun, rows, was, is_now in (
        ("task sheet", sheets, before.sheets, now.sheets),
        ("check point", points, before.points, now.points),
    ):
        for pk, content in is_now.items():
            row = rows[pk]
            if pk not in was:
                Change.record(row, CAME, by=None)
                notes.append(f"the {noun} “{row}” is new")
            elif found := differences(was[pk], content):
                supersede(row, was[pk], why="", by=None)
                row.save(update_fields=["version"])
                Change.record(row, CHANGED, by=None, said=Sentence.of("sheet.version", number=row.version))
                told = sorted({one.name.replace("_", " ") for one in found})
                notes.append(f"the {noun} “{row}” is at version {row.version}: {', '.join(told)} changed")
    return notes
