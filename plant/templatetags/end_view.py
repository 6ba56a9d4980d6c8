"""The chamber's end view as SVG, with marks on its numbers and the same in words below."""

from collections.abc import Mapping
from typing import Any

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from plant.models import Kiln
from plant.pictures import end_view as view
from plant.pictures.marks import MARK_SIZE, MARKS, NONE, OPEN, is_triangle, mark_at, mark_of_number

register = template.Library()

MARK_LOOKS = {code: mark.look for code, mark in MARKS.items()}


@register.inclusion_tag("pictures/end_view.html", name="chamber_end_view")
def show_end_view(
    marks: Mapping[int, Mapping[str, Any]], size: str = "large", kiln: Kiln | None = None, title: str = ""
) -> dict[str, Any]:
    """Draw the chamber of a kiln with marks.

    ``marks``: number -> {"state": sound, worn, defect, not_seen, open or none, "label": text, "url": optional}; a
    number without one has nothing noted. ``size``: "large" shows the words below, "small" hides them from sight.
    """
    noted = [_noted(number, marks.get(number) or {}) for number in view.NUMBER_NAMES]
    return {
        "drawing": chamber_svg(view.MakeUp.of(kiln) if kiln else None),
        "noted": noted,
        "size": size,
        "title": title or (_("%(kiln)s, end view") % {"kiln": kiln} if kiln else _("The chamber, end view")),
        "width": view.WIDTH,
        "height": view.HEIGHT,
        "has_links": any(mark["url"] for mark in noted),
    }


def _noted(number: int, mark: Mapping[str, Any]) -> dict[str, Any]:
    kind = MARKS[mark.get("state", NONE.code)]
    outline, (x, y) = mark_of_number(kind.code, number)
    name, label = view.NUMBER_NAMES[number], str(mark.get("label", ""))
    return {
        "number": number,
        "name": name,
        "state": kind.code,
        "word": kind.word,
        "label": label,
        "url": mark.get("url", ""),
        "text": f"{number} {name}: {kind.word}" + (f" – {label}" if label else ""),
        "outline": element(outline, MARK_LOOKS),
        "small": small_mark(kind.code),
        "hit": MARK_SIZE * 1.5,
        "place": view.POSITIONS[number],
        "x": x,
        "y": y + 5,
        "ink": kind.ink,
    }


@register.simple_tag
def mark_shape(state: str) -> SafeString:
    """Show the shape of a state alone, to stand before its word."""
    return format_html(
        '<svg class="end-view-shape" viewBox="0 0 22 22" aria-hidden="true" focusable="false">{}</svg>',
        small_mark(state),
    )


@register.simple_tag
def show_result(code: str | None) -> SafeString:
    """Show the result of a finding, shape and word; without one, that it is waited for."""
    mark = MARKS[code or OPEN.code]
    look = "result soft" if mark is OPEN else "result"
    return format_html('<span class="{}">{} {}</span>', look, mark_shape(mark.code), mark.word)


@register.simple_tag
def result_button(code: str, words: str = "") -> SafeString:
    """Show the button that enters a result, with its word or with others."""
    look = f"verdict verdict-{MARKS[code].tone}".removesuffix(" verdict-")
    face = result_face(code, words)
    return format_html('<button class="{}" type="submit" name="result" value="{}">{}</button>', look, code, face)


@register.simple_tag
def result_face(code: str, words: str = "") -> SafeString:
    """Show what stands on such a button."""
    return format_html("{} {}", mark_shape(code), words or capfirst(str(MARKS[code].word)))


@register.simple_tag
def small_chamber(state: str, is_loaded: bool = False) -> SafeString:
    """Show a kiln's state as a small chamber, to stand beside its word."""
    shapes = view.small_chamber(state, is_loaded=is_loaded)
    return format_html(
        '<svg class="small-chamber" viewBox="0 0 {} {}" aria-hidden="true" focusable="false">{}</svg>',
        _n(view.CARD_WIDTH),
        _n(view.CARD_HEIGHT),
        format_html_join("", "{}", ((element(shape, view.CARD_LOOKS),) for shape in shapes)),
    )


def small_mark(state: str) -> SafeString:
    """Return the outline of a mark in a square of 22."""
    return element(mark_at(state, 11, 12.5 if is_triangle(state) else 11, 7), MARK_LOOKS)


def chamber_svg(make_up: view.MakeUp | None) -> SafeString:
    """Return the elements of the drawing."""
    return format_html_join("", "{}", ((element(shape, view.LOOKS),) for shape in view.chamber(make_up)))


def element(shape: view.Shape, looks: Mapping[str, view.Look]) -> SafeString:
    """Return one shape as an SVG element, painted by attributes: the security policy forbids inline style."""
    look = looks[shape.look]
    paint = format_html(' fill="{}"', look.fill or "none")
    if look.stroke and look.stroke_width:
        paint += format_html(' stroke="{}" stroke-width="{}"', look.stroke, _n(look.stroke_width))
    if look.dash:
        paint += format_html(' stroke-dasharray="{}"', look.dash)
    match shape:
        case view.Rect(x, y, width, height):
            return format_html(
                '<rect x="{}" y="{}" width="{}" height="{}"{}/>', _n(x), _n(y), _n(width), _n(height), paint
            )
        case view.Circle(x, y, radius):
            return format_html('<circle cx="{}" cy="{}" r="{}"{}/>', _n(x), _n(y), _n(radius), paint)
        case view.Line(points, _look, is_closed):
            name = "polygon" if is_closed else "polyline"
            return format_html('<{} points="{}"{}/>', name, " ".join(f"{_n(x)},{_n(y)}" for x, y in points), paint)
        case view.Curve(start, first, second, end):
            path = f"M{_pair(start)}C{_pair(first)} {_pair(second)} {_pair(end)}"
            return format_html('<path d="{}"{}/>', path, paint)


def _n(value: float) -> str:
    return f"{value:g}"


def _pair(point: view.Point) -> str:
    return f"{_n(point[0])},{_n(point[1])}"
