"""What all printed papers share: the sheet with its margins, typeface, head and foot, and the blocks they are built of.

A paper is a class: margins as class attributes, one method a block, ``story`` reads like the document, bytes come out.
The same content gives the same bytes.
"""

import io
from collections.abc import Collection, Sequence
from datetime import datetime
from functools import cache
from typing import Any
from xml.sax.saxutils import escape

import fontpkg_lato
from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _
from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.lib.utils import simpleSplit
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, CondPageBreak, Flowable, Frame, PageTemplate, Paragraph, Table

from plant.warnings.kiln_warnings import KilnWarning, warnings_of

REGULAR, BOLD = "MillText", "MillTextBold"
INK, SOFT, LINE, SAND = HexColor("#1d2321"), HexColor("#545d59"), HexColor("#b9bbb4"), HexColor("#efe8da")
PALE, ALARM = HexColor("#f6f4ee"), HexColor("#9c2727")


@cache
def _register_typeface() -> frozenset[int]:
    """Make the typeface known once a process; returns the letters it has."""
    fonts = [
        TTFont(name, str(fontpkg_lato.ROOT / "files" / file))
        for name, file in ((REGULAR, "Lato-Regular.ttf"), (BOLD, "Lato-Bold.ttf"))
    ]
    for font in fonts:
        pdfmetrics.registerFont(font)
    return frozenset.intersection(*(frozenset(font.face.charToGlyph) for font in fonts))


def printable(value: object) -> str:
    """Keep what the typeface can print: line ends become blanks, a letter it lacks a question mark in brackets."""
    letters = _register_typeface()
    text = " ".join(str(value).split())
    return "".join(char if ord(char) in letters else "[?]" for char in text if char.isprintable())


def marked_up(value: object) -> str:
    """Give text for a paragraph, in which a less-than sign is no mark-up."""
    return escape(printable(value))


def _style(name: str, size: float, **changes: Any) -> ParagraphStyle:
    _register_typeface()
    return ParagraphStyle(name, fontName=REGULAR, fontSize=size, leading=size * 1.32, textColor=INK, **changes)


STYLES: dict[str, ParagraphStyle] = {
    "text": _style("text", 9.5),
    "small": _style("small", 8),
    "soft": ParagraphStyle("soft", fontName=REGULAR, fontSize=8, leading=10.6, textColor=SOFT),
    "number": _style("number", 9.5, alignment=2),
    "small-number": _style("small-number", 8, alignment=2),
    "head": ParagraphStyle("head", fontName=REGULAR, fontSize=8, leading=10, textColor=SOFT),
    "head-number": ParagraphStyle("head-number", fontName=REGULAR, fontSize=8, leading=10, textColor=SOFT, alignment=2),
    "lead": _style("lead", 11),
}


def text(value: object, style: str = "text") -> Paragraph:
    """Make a paragraph of plain text."""
    return Paragraph(marked_up(value), STYLES[style])


class Heading(Flowable):  # type: ignore[misc]
    """A heading in strong type."""

    def __init__(self, words: object, size: float = 12, above: float = 9, below: float = 3, colour: Any = INK) -> None:
        super().__init__()
        self.words, self.size, self.above, self.below, self.colour = printable(words), size, above, below, colour

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Break the words into lines."""
        self.lines = simpleSplit(self.words, BOLD, self.size, width)
        self.width, self.height = width, self.above + self.below + len(self.lines) * self.size * 1.25
        return self.width, self.height

    def draw(self) -> None:
        """Draw the lines from the top."""
        y = self.height - self.above - self.size
        for line in self.lines:
            strong(self.canv, 0, y, line, self.size, self.colour)
            y -= self.size * 1.25


def section(words: object, room_mm: float = 30, size: float = 12) -> list[Flowable]:
    """Head a section; it begins a new page where less than so much room is left for what follows."""
    return [CondPageBreak(room_mm * mm), Heading(words, size=size)]


def strong(
    canvas: Canvas, x: float, y: float, words: str, size: float, colour: Any = INK, *, align: str = "left"
) -> None:
    """Draw a line in bold type."""
    _draw(canvas, x, y, words, BOLD, size, colour, align)


def plain(
    canvas: Canvas, x: float, y: float, words: str, size: float, colour: Any = INK, *, align: str = "left"
) -> None:
    """Draw a line in the regular weight."""
    _draw(canvas, x, y, words, REGULAR, size, colour, align)


def _draw(canvas: Canvas, x: float, y: float, words: str, font: str, size: float, colour: Any, align: str) -> None:
    canvas.setFillColor(colour)
    canvas.setFont(font, size)
    {"left": canvas.drawString, "right": canvas.drawRightString, "middle": canvas.drawCentredString}[align](x, y, words)


def fitting(words: str, size: float, width: float, *, font: str = REGULAR) -> str:
    """Shorten words to a width with an ellipsis."""
    if pdfmetrics.stringWidth(words, font, size) <= width:
        return words
    while words and pdfmetrics.stringWidth(f"{words}…", font, size) > width:
        words = words[:-1]
    return f"{words.rstrip()}…"


class RowTable(Table):  # type: ignore[misc]
    """A table that breaks between rows, and inside a row only where the row alone is higher than a page."""

    whole_page_pt = 230 * mm

    def split(self, width: float, height: float) -> list[Flowable]:
        """Break between rows if that can be done."""
        self.splitInRow = 0
        parts: list[Flowable] = super().split(width, height)
        if not parts and height > self.whole_page_pt:
            self.splitInRow = 1
            parts = super().split(width, height)
        return parts


def grid(
    head: Sequence[object],
    rows: Sequence[Sequence[object]],
    widths_mm: Sequence[float],
    *,
    numbers: Sequence[int] = (),
    size: str = "small",
    last_is_sum: bool = False,
    extra: Sequence[tuple[Any, ...]] = (),
) -> RowTable:
    """Make a table with a repeated head; cells may be text or blocks."""
    body = [[_cell(cell, size, is_number=i in numbers) for i, cell in enumerate(row)] for row in rows]
    heads = [text(word, "head-number" if i in numbers else "head") for i, word in enumerate(head)]
    style: list[tuple[Any, ...]] = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("VALIGN", (0, 0), (-1, 0), "BOTTOM"),
        ("LINEBELOW", (0, 0), (-1, 0), 0.8, INK),
        ("LINEBELOW", (0, 1), (-1, -1), 0.4, LINE),
        ("LEFTPADDING", (0, 0), (-1, -1), 3),
        ("RIGHTPADDING", (0, 0), (-1, -1), 3),
        ("TOPPADDING", (0, 0), (-1, -1), 2.5),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
    ]
    if last_is_sum and rows:
        style += [("LINEABOVE", (0, -1), (-1, -1), 0.8, INK), ("BACKGROUND", (0, -1), (-1, -1), PALE)]
    return RowTable([heads, *body], [width * mm for width in widths_mm], repeatRows=1, style=[*style, *extra])


def _cell(cell: object, size: str, *, is_number: bool) -> object:
    if isinstance(cell, Flowable | list):
        return cell
    return text(cell, {"small": "small-number", "text": "number"}[size] if is_number else size)


class _CountingCanvas(Canvas):  # type: ignore[misc]
    """Holds every page back until the number of pages is known, then writes each with its foot."""

    def __init__(self, *args: Any, paper: "Paper", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._paper = paper
        self._held: list[dict[str, Any]] = []

    def showPage(self) -> None:  # noqa: N802 - the library's own name
        self._held.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        for number, state in enumerate(self._held, start=1):
            held = self._held
            self.__dict__.update(state)
            self._held = held
            self._paper.draw_frame(self, number, len(held))
            super().showPage()
        super().save()


class Paper:
    """A printed paper on A4. Subclasses give ``title`` and ``story``."""

    top_mm = 20.0
    bottom_mm = 20.0
    left_mm = 16.0
    right_mm = 16.0
    is_safety_relevant = False
    """Whether the foot reminds of local codes and licensed trades."""
    large_pt, warning_pt = 24.0, 9.5

    def __init__(self, mill_name: str, drawn_at: datetime) -> None:
        self.mill_name = printable(mill_name)
        self.drawn_at = drawn_at

    @property
    def title(self) -> str:
        """The paper's name, in its head and for whoever files it."""
        raise NotImplementedError

    def story(self) -> list[Flowable]:
        """The blocks from top to bottom."""
        raise NotImplementedError

    def kiln_tags(self) -> Collection[str]:
        """The kilns it names: what must be said of them stands on each page."""
        return ()

    @property
    def large(self) -> str:
        """What stands large in the head of each page, so that a loose page is not taken to another kiln."""
        return ""

    @property
    def width(self) -> float:
        """Width between the margins, in points."""
        return float(A4[0] - (self.left_mm + self.right_mm) * mm)

    def to_bytes(self) -> bytes:
        """Set the paper."""
        out = io.BytesIO()
        self._warned = self._break_warnings(warnings_of(self.kiln_tags()))
        head = (self.large_pt * 0.7 if self.large else 0) + self._warned_height()
        document = BaseDocTemplate(
            out,
            pagesize=A4,
            title=printable(self.title),
            author=self.mill_name,
            creator="Kilnward",
            invariant=1,
            pageCompression=1,
        )
        frame = Frame(
            self.left_mm * mm,
            self.bottom_mm * mm,
            self.width,
            A4[1] - (self.top_mm + self.bottom_mm) * mm - head,
            leftPadding=0,
            rightPadding=0,
            topPadding=0,
            bottomPadding=0,
        )
        document.addPageTemplates([PageTemplate("page", [frame])])
        document.build(self.story(), canvasmaker=lambda *args, **kwargs: _CountingCanvas(*args, paper=self, **kwargs))
        return out.getvalue()

    def _break_warnings(self, warnings: Sequence[KilnWarning]) -> list[tuple[bool, list[str]]]:
        """Break what is said of the kilns into lines; True for what is loud."""
        _register_typeface()
        inner = self.width - 12
        return [(one.is_loud, simpleSplit(printable(one.sentence), BOLD, self.warning_pt, inner)) for one in warnings]

    def _warned_height(self) -> float:
        lines = sum(len(lines) for _is_loud, lines in self._warned)
        return lines * self.warning_pt * 1.25 + len(self._warned) * 7 if lines else 0

    def _draw_warnings(self, canvas: Canvas, left: float, top: float) -> None:
        """Box each warning below the head."""
        for is_loud, lines in self._warned:
            height = len(lines) * self.warning_pt * 1.25 + 4
            colour = ALARM if is_loud else INK
            canvas.setStrokeColor(colour)
            canvas.setLineWidth(1.6 if is_loud else 0.8)
            canvas.rect(left, top - height, self.width, height, stroke=1, fill=0)
            for number, line in enumerate(lines):
                y = top - 2 - self.warning_pt - number * self.warning_pt * 1.25
                strong(canvas, left + 6, y, line, self.warning_pt, colour)
            top -= height + 3

    def draw_frame(self, canvas: Canvas, page: int, pages: int) -> None:
        """Draw head and foot of one page."""
        left, right = self.left_mm * mm, A4[0] - self.right_mm * mm
        top, foot = A4[1] - 14 * mm, 11 * mm
        half = (right - left) / 2 - 4 * mm
        line = top - 4
        if self.large:
            # The tag takes the right corner; mill and paper stand one below the other beside it.
            line -= self.large_pt * 0.7
            tag = fitting(printable(self.large), self.large_pt, half, font=BOLD)
            strong(canvas, right, line + 6, tag, self.large_pt, align="right")
            strong(canvas, left, top, fitting(self.mill_name, 9, half, font=BOLD), 9)
            wide = right - left - pdfmetrics.stringWidth(tag, BOLD, self.large_pt) - 6 * mm
            plain(canvas, left, line + 6, fitting(printable(self.title), 9, wide), 9, SOFT)
        else:
            strong(canvas, left, top, fitting(self.mill_name, 9, half, font=BOLD), 9)
            plain(canvas, right, top, fitting(printable(self.title), 9, half), 9, SOFT, align="right")
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(0.9)
        canvas.line(left, line, right, line)
        self._draw_warnings(canvas, left, line - 4)
        canvas.setStrokeColor(LINE)
        canvas.setLineWidth(0.5)
        canvas.line(left, foot + 9, right, foot + 9)
        as_of = date_format(localtime(self.drawn_at), "j F Y, H:i")
        strong(canvas, left, foot, _("As of %(instant)s") % {"instant": as_of}, 8)
        if self.is_safety_relevant:
            middle = (left + right) / 2
            plain(canvas, middle, foot, _("Local codes and licensed trades come first."), 7.5, INK, align="middle")
        counted = _("Page %(page)d of %(pages)d") % {"page": page, "pages": pages}
        plain(canvas, right, foot, counted, 7.5, SOFT, align="right")
