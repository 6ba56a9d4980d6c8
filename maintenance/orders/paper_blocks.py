"""Blocks that the crew's papers share: cautions, empty boxes, lines to write on, the shapes of findings."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _
from reportlab.lib.colors import HexColor
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Table

from maintenance.models import Caution
from plant.models import Component
from plant.pictures.end_view import Look
from plant.pictures.marks import RESULTS, mark_at
from plant.pictures.paper import ALARM, INK, LINE, SOFT, Heading, RowTable, plain, text
from plant.pictures.paper_end_view import draw_shape


def cautions_block(title: str, cautions: Iterable[Caution], width: float) -> RowTable:
    """Box the cautions: hazard, what must be so before the start, and a box to tick for it."""
    rows: list[list[Any]] = [
        [Heading(title, size=11, above=0, below=1, colour=ALARM), "", ""],
        [text(_("Hazard"), "head"), "", text(_("Before the start"), "head")],
    ]
    for caution in cautions:
        hazard = [Heading(caution.title, size=9, above=0, below=0), text(caution.text, "small")]
        rows.append([hazard, Tick(), text(caution.must_be_so, "small")])
    return RowTable(
        rows,
        [width * 0.5, 14, width * 0.5 - 14],
        repeatRows=2,
        style=[
            ("BOX", (0, 0), (-1, -1), 1.6, ALARM),
            ("LINEBELOW", (0, 1), (-1, -2), 0.4, LINE),
            ("BACKGROUND", (0, 0), (-1, 1), HexColor("#fbeeec")),
            ("SPAN", (0, 0), (-1, 0)),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("TOPPADDING", (0, 0), (-1, -1), 2.5),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
            ("LEFTPADDING", (1, 0), (1, -1), 0),
        ],
    )


class Tick(Flowable):  # type: ignore[misc]
    """An empty box, ticked where ``is_ticked``, with a word behind it."""

    def __init__(self, word: str = "", *, is_ticked: bool = False, size: float = 8) -> None:
        super().__init__()
        self.word, self.is_ticked, self.size = word, is_ticked, size

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Take a line."""
        self.width, self.height = width, self.size + 2
        return self.width, self.height

    def draw(self) -> None:
        """Draw box, tick and word."""
        self.canv.setStrokeColor(INK)
        self.canv.setLineWidth(0.9)
        self.canv.rect(0, 1, self.size, self.size, stroke=1, fill=0)
        if self.is_ticked:
            self.canv.setLineWidth(1.4)
            self.canv.line(1.6, 4.6, 3.4, 2.6)
            self.canv.line(3.4, 2.6, self.size - 1, self.size - 0.6)
        if self.word:
            plain(self.canv, self.size + 4, 2.2, self.word, 8, SOFT)


class WriteLines(Flowable):  # type: ignore[misc]
    """Lines to write on."""

    def __init__(self, count: int, step_mm: float = 8) -> None:
        super().__init__()
        self.count, self.step = count, step_mm * mm

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Take the whole width."""
        self.width, self.height = width, self.count * self.step
        return self.width, self.height

    def draw(self) -> None:
        """Draw the lines."""
        self.canv.setStrokeColor(LINE)
        self.canv.setLineWidth(0.6)
        for line in range(self.count):
            self.canv.line(0, line * self.step + 2, self.width, line * self.step + 2)


class ResultShapes(Flowable):  # type: ignore[misc]
    """The four shapes of a finding side by side, to be crossed; what was found already is filled."""

    step, size = 12 * mm, 6.2

    def __init__(self, found: str = "", *, has_words: bool = False) -> None:
        super().__init__()
        self.found, self.has_words = found, has_words

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Take four columns."""
        self.width, self.height = 4 * self.step, 15 + (8 if self.has_words else 0)
        return self.width, self.height

    def draw(self) -> None:
        """Draw the shapes, with words below if there are any."""
        for column, result in enumerate(RESULTS):
            x, y = self.step * (column + 0.5), self.height - 8
            outline, look = mark_at(result.code, 0, 0, self.size), result.look
            if result.code == self.found:
                look = Look("#1d2321", "#1d2321", 1)
            else:
                look = Look("#ffffff", look.stroke, 1.1, look.dash)
            self.canv.saveState()
            self.canv.translate(x, y)
            # Shapes are given with y downwards: unturned, the triangle would stand on its point.
            self.canv.scale(1, -1)
            draw_shape(self.canv, outline, look)
            self.canv.restoreState()
            if self.has_words:
                plain(self.canv, x, 0.5, str(result.column_word or result.word), 6.5, SOFT, align="middle")


class Field(Flowable):  # type: ignore[misc]
    """A named line to write on, as for a signature."""

    def __init__(self, word: str, height_mm: float = 11) -> None:
        super().__init__()
        self.word, self.tall = word, height_mm * mm

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Take the width of the cell."""
        self.width, self.height = width, self.tall
        return self.width, self.height

    def draw(self) -> None:
        """Draw the line and its name below."""
        self.canv.setStrokeColor(INK)
        self.canv.setLineWidth(0.6)
        self.canv.line(0, 9, self.width - 6, 9)
        plain(self.canv, 0, 1, self.word, 7, SOFT)


def fields(words: Sequence[str], widths: Sequence[float]) -> Table:
    """Set fields side by side."""
    row = [[Field(word) for word in words]]
    return Table(row, list(widths), style=[("LEFTPADDING", (0, 0), (-1, -1), 0), ("RIGHTPADDING", (0, 0), (-1, -1), 0)])


def strong_line(words: str) -> Heading:
    """A line in strong type inside a cell."""
    return Heading(words, size=8.5, above=0, below=1)


def component_words(component: Component) -> str:
    """Name a component with its side, unless its name says it already."""
    side = str(component.get_side_display()) if component.side else ""
    return component.name if side.casefold() in component.name.casefold() else f"{component.name}, {side}"


def moment(at: datetime | None) -> str:
    """Write an instant in the mill's time."""
    return date_format(localtime(at), "D j M Y, H:i") if at else ""
