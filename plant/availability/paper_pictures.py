"""Patterns and pictures of the printed report: they carry their meaning in black and white too."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from reportlab.lib.colors import HexColor
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from plant.availability.charts import BEING_WORDS, Bar, StripRow, Tick
from plant.pictures.paper import BOLD, LINE, SOFT, fitting, plain, printable, strong


@dataclass(frozen=True, slots=True)
class Hatch:
    """Ground, line colour, and the directions of the lines: horizontal, vertical, crossed, rising, or dots."""

    ground: str
    line: str = ""
    way: str = ""
    edge: str = ""


HATCHES: dict[str, Hatch] = {
    "able": Hatch("#dbe7ed"),
    "planned": Hatch("#8a5c0a", "#e9cf9c", "horizontal", "#7a4f00"),
    "unplanned": Hatch("#a82a2a", "#f3c3bf", "rising", "#8a1f1f"),
    "slowed": Hatch("#f4d2cc", "#a3574c", "vertical", "#a3574c"),
    "no_timber": Hatch("#efe8da", "#a99a73", "dots", "#cbbf9f"),
    "external": Hatch("#e3dff0", "#5b4f8a", "crossed", "#5b4f8a"),
    "pace": Hatch("#ffffff", "#545d59", "dots", "#8d918b"),
    "whole": Hatch("#5c655f", edge="#1d2321"),
    "dried": Hatch("#3f7188", edge="#1d4356"),
}
STEP = 3.2
"""Distance of the lines of a pattern, in points."""


def hatched(canvas: Canvas, x: float, y: float, width: float, height: float, name: str) -> None:
    """Fill a rectangle with a look; the pattern lies still, whatever the rectangle."""
    hatch = HATCHES[name]
    canvas.saveState()
    path = canvas.beginPath()
    path.rect(x, y, width, height)
    canvas.clipPath(path, stroke=0, fill=0)
    canvas.setFillColor(HexColor(hatch.ground))
    canvas.rect(x, y, width, height, stroke=0, fill=1)
    if hatch.way:
        canvas.setStrokeColor(HexColor(hatch.line))
        canvas.setFillColor(HexColor(hatch.line))
        canvas.setLineWidth(0.6)
        _WAYS[hatch.way](canvas, x, y, width, height)
    canvas.restoreState()
    if hatch.edge:
        canvas.setStrokeColor(HexColor(hatch.edge))
        canvas.setLineWidth(0.5)
        canvas.rect(x, y, width, height, stroke=1, fill=0)


def _steps(start: float, end: float) -> list[float]:
    first = int(start // STEP)
    return [n * STEP for n in range(first, int(end // STEP) + 1)]


def _horizontal(canvas: Canvas, x: float, y: float, width: float, height: float) -> None:
    for level in _steps(y, y + height):
        canvas.line(x, level + STEP / 2, x + width, level + STEP / 2)


def _vertical(canvas: Canvas, x: float, y: float, width: float, height: float) -> None:
    for left in _steps(x, x + width):
        canvas.line(left + STEP / 2, y, left + STEP / 2, y + height)


def _rising(canvas: Canvas, x: float, y: float, width: float, height: float) -> None:
    for left in _steps(x - height, x + width):
        canvas.line(left, y, left + height, y + height)


def _crossed(canvas: Canvas, x: float, y: float, width: float, height: float) -> None:
    _horizontal(canvas, x, y, width, height)
    _vertical(canvas, x, y, width, height)


def _dots(canvas: Canvas, x: float, y: float, width: float, height: float) -> None:
    for column, left in enumerate(_steps(x, x + width)):
        for level in _steps(y, y + height)[column % 2 :: 2]:
            canvas.circle(left + STEP / 2, level + STEP / 2, 0.45, stroke=0, fill=1)


_WAYS: dict[str, Callable[[Canvas, float, float, float, float], None]] = {
    "horizontal": _horizontal,
    "vertical": _vertical,
    "rising": _rising,
    "dots": _dots,
    "crossed": _crossed,
}


class Strip(Flowable):  # type: ignore[misc]
    """Kilns one below the other, each with its time as a band; breaks between kilns where a page ends."""

    row_height, band_height = 17.0, 11.0
    tag_width, figures_width = 44.0, 118.0
    foot_height = 30.0

    def __init__(self, rows: Sequence[tuple[StripRow, str, str]], ticks: Sequence[Tick]) -> None:
        super().__init__()
        self.rows, self.ticks = list(rows), list(ticks)

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Take the whole width."""
        self.width, self.height = width, len(self.rows) * self.row_height + self.foot_height
        return self.width, self.height

    def split(self, width: float, height: float) -> list[Flowable]:
        """Break between two kilns."""
        fit = int((height - self.foot_height) // self.row_height)
        if fit < 1 or fit >= len(self.rows):
            return []
        return [Strip(self.rows[:fit], self.ticks), Strip(self.rows[fit:], self.ticks)]

    def draw(self) -> None:
        """Draw the rows, the time axis and the legend."""
        band = self.width - self.tag_width - self.figures_width
        y = self.height
        for row, share, mtbf in self.rows:
            y -= self.row_height
            strong(self.canv, 0, y + 3, fitting(printable(row.kiln.tag), 9, self.tag_width - 4, font=BOLD), 9)
            for piece in row.pieces:
                width = max(piece.width * band / 100, 0.6)
                left = self.tag_width + piece.left * band / 100
                hatched(self.canv, left, y, width, self.band_height, piece.being.value)
            strong(self.canv, self.tag_width + band + 46, y + 3, share, 8.5, align="right")
            plain(self.canv, self.width, y + 3, mtbf, 8, SOFT, align="right")
        self._draw_axis(y - 4, band)
        draw_legend(self.canv, self.tag_width, 1)

    def _draw_axis(self, y: float, band: float) -> None:
        reach = -1.0
        self.canv.setLineWidth(0.5)
        for tick in self.ticks:
            left = self.tag_width + tick.left * band / 100
            self.canv.setStrokeColor(LINE)
            self.canv.line(left, y, left, y + 3)
            if left > reach:
                plain(self.canv, left + 1.5, y - 4, tick.word, 6.5, SOFT)
                reach = left + 4 + len(tick.word) * 3.6


def draw_legend(canvas: Canvas, x: float, y: float) -> None:
    """Say in words what the looks mean."""
    for being, word in BEING_WORDS.items():
        hatched(canvas, x, y, 14, 7, being.value)
        plain(canvas, x + 18, y + 0.8, str(word), 7.5)
        x += 32 + canvas.stringWidth(str(word))


class BridgePicture(Flowable):  # type: ignore[misc]
    """From could dry to dried, step by step."""

    row_height, bar_height = 18.0, 9.0
    word_width, figure_width = 92.0, 88.0

    def __init__(self, bars: Sequence[Bar]) -> None:
        super().__init__()
        self.bars = list(bars)

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Take the whole width."""
        self.width, self.height = width, len(self.bars) * self.row_height + 2
        return self.width, self.height

    def draw(self) -> None:
        """Draw the bars and the levels that join them."""
        band = self.width - self.word_width - self.figure_width
        y = self.height
        for index, bar in enumerate(self.bars):
            y -= self.row_height
            is_last = index == len(self.bars) - 1
            plain(self.canv, 0, y + 2, fitting(bar.word, 9, self.word_width - 4), 9)
            left = self.word_width + bar.left * band / 100
            look = "dried" if is_last else bar.look
            hatched(self.canv, left, y, max(bar.width * band / 100, 0.8), self.bar_height, look)
            plain(self.canv, self.width, y + 2, bar.figure, 9, align="right")
            if not is_last:
                level = self.word_width + bar.level * band / 100
                self.canv.setStrokeColor(SOFT)
                self.canv.setLineWidth(0.4)
                self.canv.setDash(1, 2)
                self.canv.line(level, y, level, y - self.row_height + self.bar_height)
                self.canv.setDash()
