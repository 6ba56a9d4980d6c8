"""What stands at a number of the end view: the result of a finding, that it is waited for, or that nothing is noted.

The one table of results: choices of the model, forms, pages, papers and what outweighs what all read it here.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from math import cos, pi, sin
from typing import Final

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from plant.pictures.end_view import INK, LINE, POSITIONS, SOFT, Circle, Line, Look, Point, Shape

MARK_SIZE = 14.0
"""Radius of a number's mark."""


@dataclass(frozen=True, slots=True)
class Outline:
    """The shape of a mark: a ring of corners, or a circle without any, so many times the radius, turned by an angle."""

    corners: int = 0
    stretch: float = 1.0
    turn: float = 0.0


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark: its code in the records, its word, and what else it is.

    The heavier outweighs the lighter where several things are noted. ``tone`` names the colours of its button
    (``verdict-…`` in work.css), none the plain ones; ``column_word`` is short enough for the head of a column. A fault
    may say how it fails; what is in doubt bars entry at a point that does so. There a defect goes on record and bars
    as one.
    """

    code: str
    word: Promise | str
    weight: int
    outline: Outline
    look: Look
    ink: str
    tone: str = ""
    column_word: Promise | str = ""
    is_fault: bool = False
    is_in_doubt: bool = False


SOUND: Final = Mark("sound", _("sound"), 1, Outline(), Look("#ffffff", "#23694a", 2.2), "#23694a", "sound")
WORN: Final = Mark(
    "worn",
    _("worn"),
    4,
    Outline(4, 1.27, pi / 4),
    Look("#fbeecb", "#7a4f00", 2.2),
    "#4d3200",
    "mind",
    is_fault=True,
    is_in_doubt=True,
)
DEFECT: Final = Mark(
    "defect",
    _("defect"),
    5,
    Outline(3, 1.55, -pi / 2),
    Look("#f8dcd9", "#9c2727", 2.4),
    "#6f1616",
    "alarm",
    is_fault=True,
)
NOT_SEEN: Final = Mark(
    "not_seen",
    _("could not be seen"),
    3,
    Outline(4, 1.25),
    Look("#ffffff", INK, 1.8, "3 2"),
    INK,
    column_word=_("not seen"),
    is_in_doubt=True,
)
OPEN: Final = Mark("open", _("waiting"), 2, Outline(6, 1.12), Look("#dbe7ed", "#336079", 2.2), "#1d4356")
NONE: Final = Mark("none", _("nothing noted"), 0, Outline(stretch=0.8), Look("#ffffff", LINE, 1), SOFT)

RESULTS: Final = (SOUND, WORN, DEFECT, NOT_SEEN)
"""What a finding can be, in the order in which it is offered."""
MARKS: Final = {mark.code: mark for mark in (*RESULTS, OPEN, NONE)}
WORST_FIRST: Final = tuple(mark.code for mark in sorted(RESULTS, key=lambda mark: -mark.weight))
"""Which of two results at one point counts until somebody decides."""
FAULTS: Final = tuple(mark.code for mark in RESULTS if mark.is_fault)
IN_DOUBT: Final = tuple(mark.code for mark in RESULTS if mark.is_in_doubt)


def worst(codes: Iterable[str]) -> str:
    """Return the code that outweighs the others; one at least."""
    return max(codes, key=lambda code: MARKS[code].weight)


def mark_at(code: str, x: float, y: float, size: float = MARK_SIZE) -> Shape:
    """Return the outline of a mark round a point; its look is the code."""
    outline = MARKS[code].outline
    reach = size * outline.stretch
    if not outline.corners:
        return Circle(x, y, reach, code)
    ring = (outline.turn + i * 2 * pi / outline.corners for i in range(outline.corners))
    return Line(tuple((round(x + reach * cos(a), 1), round(y + reach * sin(a), 1)) for a in ring), code, is_closed=True)


def mark_of_number(code: str, number: int) -> tuple[Shape, Point]:
    """Return the outline of a number's mark, and where the middle of the number stands."""
    x, y = POSITIONS[number]
    return mark_at(code, x, y), (x, y + (2 if is_triangle(code) else 0))


def is_triangle(code: str) -> bool:
    """Say whether the middle of the outline lies low."""
    return MARKS[code].outline.corners == 3
