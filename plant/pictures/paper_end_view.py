"""The chamber's end view on printed papers: it carries its meaning in black and white too."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from reportlab.lib.colors import HexColor
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from plant.pictures.end_view import HEIGHT, LOOKS, WIDTH, Circle, Curve, Line, Look, Rect, Shape
from plant.pictures.marks import MARK_SIZE, MARKS
from plant.pictures.paper import INK, strong


class EndView(Flowable):  # type: ignore[misc]
    """The chamber's end view with its numbers, ``width_pt`` wide; ``chosen`` numbers are filled dark."""

    def __init__(self, shapes: Sequence[Shape], marks: Sequence["NumberMark"], width_pt: float) -> None:
        super().__init__()
        self.shapes, self.marks = list(shapes), list(marks)
        self.scale = width_pt / WIDTH
        self.width, self.height = width_pt, HEIGHT * self.scale

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Keep the size that was asked for."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw in the drawing's own units, y downwards."""
        self.canv.saveState()
        self.canv.translate(0, self.height)
        self.canv.scale(self.scale, -self.scale)
        self.canv.setLineJoin(1)
        for shape in self.shapes:
            draw_shape(self.canv, shape, LOOKS[shape.look])
        for mark in sorted(self.marks, key=lambda mark: mark.is_chosen):
            mark.draw(self.canv)
        self.canv.restoreState()


@dataclass(frozen=True, slots=True)
class NumberMark:
    """A number's mark: its outline, where the number stands, and whether the paper is about it."""

    number: int
    outline: Shape
    place: tuple[float, float]
    is_chosen: bool = False

    def draw(self, canvas: Canvas) -> None:
        """Draw outline and number; inside the flipped drawing letters must be turned upright again."""
        if self.is_chosen:
            # large, for it is the one thing that a small drawing has to say
            draw_shape(canvas, Circle(*self.place, 2 * MARK_SIZE, "chosen"), Look("#1d2321", "#ffffff", 3))
        else:
            draw_shape(canvas, self.outline, MARKS[self.outline.look].look)
        size = 30 if self.is_chosen else 15
        canvas.saveState()
        canvas.translate(self.place[0], self.place[1])
        canvas.scale(1, -1)
        colour = HexColor("#ffffff") if self.is_chosen else INK
        strong(canvas, 0, -0.36 * size, str(self.number), size, colour, align="middle")
        canvas.restoreState()


def draw_shape(canvas: Canvas, shape: Shape, look: Look) -> None:
    """Draw one shape of the end view in its look."""
    canvas.setDash([float(part) for part in look.dash.split()] if look.dash else [])
    if look.fill:
        canvas.setFillColor(HexColor(look.fill))
    if look.stroke:
        canvas.setStrokeColor(HexColor(look.stroke))
        canvas.setLineWidth(look.stroke_width)
    paint: dict[str, Any] = {"stroke": int(bool(look.stroke)), "fill": int(bool(look.fill))}
    match shape:
        case Rect(x, y, width, height):
            canvas.rect(x, y, width, height, **paint)
        case Circle(x, y, radius):
            canvas.circle(x, y, radius, **paint)
        case Curve(start, control_1, control_2, end):
            canvas.bezier(*start, *control_1, *control_2, *end)
        case Line(points, _, is_closed):
            path = canvas.beginPath()
            path.moveTo(*points[0])
            for point in points[1:]:
                path.lineTo(*point)
            if is_closed:
                path.close()
            canvas.drawPath(path, stroke=paint["stroke"], fill=paint["fill"] if is_closed else 0)
    canvas.setDash()
