"""Lines and marks as SVG paths in a box of ``WIDTH`` by ``HEIGHT``, which the page stretches to what room it has."""

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plant.pictures.climate_chart.axes import ValueAxis
from plant.pictures.climate_chart.thinning import Instants, Run, Span, Thinned, Values

WIDTH: Final = 1200
HEIGHT: Final = 500

Spots = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Line:
    """A line: the path of what is joined, and that of lone readings between two gaps."""

    path: str
    lone: str


def _across(at_s: Values | Instants, span: Span) -> Spots:
    share = (np.asarray(at_s, np.float64) - span.from_s) / span.length_s
    return np.rint(share * WIDTH).astype(np.int64)


def _down(value: Values, axis: ValueAxis) -> Spots:
    share = (axis.high - value) / (axis.high - axis.low)
    return np.rint(share * HEIGHT).astype(np.int64)


def draw_line(thinned: Thinned, span: Span, axis: ValueAxis) -> Line:
    """Draw thinned readings: a stroke from the lowest to the highest of each column, joined to the next column."""
    x, low, high = _across(thinned.at_s, span), _down(thinned.low, axis), _down(thinned.high, axis)
    first, second = np.where(thinned.is_rising, low, high), np.where(thinned.is_rising, high, low)
    edges = np.append(np.flatnonzero(thinned.begins), len(x))
    joined: list[str] = []
    lone: list[str] = []
    for start, end in itertools.pairwise(edges):
        points = _points(x[start:end], first[start:end], second[start:end])
        (joined if len(points) > 1 else lone).append(_path(points))
    return Line("".join(joined), "".join(lone))


def _points(x: Spots, first: Spots, second: Spots) -> Spots:
    """Return the corners of one piece, shape (n, 2), without those that repeat the one before."""
    points = np.empty((2 * len(x), 2), np.int64)
    points[0::2, 0] = points[1::2, 0] = x
    points[0::2, 1], points[1::2, 1] = first, second
    moves = np.any(np.diff(points, axis=0) != 0, axis=1)
    return points[np.concatenate(([True], moves))]


def _path(points: Spots) -> str:
    x, y = points[0]
    if len(points) == 1:
        return f"M{x} {y}h0"
    steps = " ".join(map(str, np.diff(points, axis=0).ravel().tolist()))
    return f"M{x} {y}l{steps}"


def draw_steps(found: Sequence[Run], span: Span, axis: ValueAxis) -> Line:
    """Draw runs of one value as steps; a run that follows at once is joined to the one before."""
    pieces = []
    last_s, edge_s = None, span.until_s
    for run in found:
        until_s = min(run.until_s, edge_s)
        x, y = (int(_across(np.array([run.from_s]), span)[0]), int(_down(np.array([run.value]), axis)[0]))
        pieces.append(f"V{y}" if run.from_s == last_s else f"M{x} {y}")
        pieces.append(f"H{int(_across(np.array([until_s]), span)[0])}")
        last_s = until_s
    return Line("".join(pieces), "")


def draw_marks(at_s: Instants, value: Values, span: Span, axis: ValueAxis) -> str:
    """Draw single readings as dots, one a column and height; what is off the axis lies on its edge."""
    inside = (at_s >= span.from_s) & (at_s <= span.until_s)
    clipped = np.clip(value[inside], axis.low, axis.high)
    column = span.columns_of(at_s[inside]) * (WIDTH // span.columns) + WIDTH // span.columns // 2
    spots = np.unique(np.stack((column, _down(clipped, axis) // 8 * 8), axis=1), axis=0)
    return "".join(f"M{x} {y}h0" for x, y in spots.tolist())


def draw_range(thinned: Thinned, span: Span, axis: ValueAxis, width_s: float) -> str:
    """Draw from lowest to highest as upright bars ``width_s`` wide: days in short."""
    return "".join(_bars(thinned, span, axis, width_s))


def _bars(thinned: Thinned, span: Span, axis: ValueAxis, width_s: float) -> Iterator[str]:
    left = _across(thinned.at_s - width_s / 2, span).tolist()
    right = _across(thinned.at_s + width_s / 2, span).tolist()
    top, bottom = _down(thinned.high, axis).tolist(), _down(thinned.low, axis).tolist()
    for x, until, y, below in zip(left, right, top, bottom, strict=True):
        yield f"M{x} {y}H{until}V{max(below, y + 1)}H{x}z"


def label_spot(thinned: Thinned, span: Span, axis: ValueAxis, wanted: float) -> tuple[float, float] | None:
    """Return where a line's letter stands, as shares of 1 from the left and from above: near a wanted share."""
    inside = np.flatnonzero((thinned.at_s >= span.from_s) & (thinned.at_s <= span.until_s))
    if not len(inside):
        return None
    aim_s = span.from_s + wanted * span.length_s
    at = inside[int(np.argmin(np.abs(thinned.at_s[inside] - aim_s)))]
    middle = float(thinned.low[at] + thinned.high[at]) / 2
    return span.share(float(thinned.at_s[at])), axis.share_down(middle)
