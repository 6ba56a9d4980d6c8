"""The chamber's end view: a drawing as plain data, with the places of the numbers 1 to 12.

One drawing serves the pages (SVG) and the printed sheets: shapes in units of ``WIDTH`` by ``HEIGHT``, y downwards, each
with the name of a look of ``LOOKS``. It is a cross-section seen from the loading end, looking along the fan shafts.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import cos, pi, sin
from typing import TYPE_CHECKING

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

if TYPE_CHECKING:
    from plant.models import Kiln

WIDTH, HEIGHT = 520.0, 390.0

Point = tuple[float, float]

NUMBER_NAMES: dict[int, Promise | str] = {
    1: _("Skin and insulation"),
    2: _("Main door and threshold"),
    3: _("Escape door"),
    4: _("Flaps"),
    5: _("Fans"),
    6: _("Baffles and free space"),
    7: _("Spray"),
    8: _("Thermometers and humidity"),
    9: _("Wood-moisture electrodes"),
    10: _("Heating"),
    11: _("EMC plates"),
    12: _("Floor and surroundings"),
}

POSITIONS: dict[int, Point] = {
    1: (58, 166),
    2: (30, 262),
    3: (496, 262),
    4: (98, 44),
    5: (260, 148),
    6: (146, 208),
    7: (92, 122),
    8: (128, 290),
    9: (318, 262),
    10: (406, 122),
    11: (394, 290),
    12: (260, 371),
}


@dataclass(frozen=True, slots=True)
class Look:
    """How a shape is painted; an empty colour paints nothing. ``dash`` as in SVG."""

    fill: str = ""
    stroke: str = ""
    stroke_width: float = 1.0
    dash: str = ""


INK, SOFT, LINE = "#1d2321", "#545d59", "#8d918b"
LOOKS: dict[str, Look] = {
    "ground": Look("", INK, 2.5),
    "soil": Look("", LINE, 1),
    "slab": Look("#d9d7cf", SOFT, 1),
    "skin": Look("#ffffff", INK, 1.6),
    "filling": Look("", "#b9a888", 1),
    "room": Look("#fdfcf8", "", 0),
    "steel": Look("#c9cdca", INK, 1.2),
    "hood": Look("#ffffff", INK, 1.3),
    "blade": Look("", "#336079", 2.6),
    "deck": Look("", INK, 3.2),
    "curtain": Look("", INK, 3),
    "pivot": Look("#ffffff", INK, 1.2),
    "shroud": Look("#dbe7ed", "#336079", 1.4),
    "vane": Look("#336079", "#1d4356", 0.8),
    "hub": Look(INK, "", 0),
    "pipe": Look("#f8dcd9", "#9c2727", 1.3),
    "fin": Look("", "#9c2727", 1),
    "element": Look("", "#9c2727", 1.8),
    "flame": Look("#fbeecb", "#9c2727", 1.4),
    "cold": Look("#dbe7ed", "#336079", 1.4),
    "air": Look("", "#8fb0c0", 1.8),
    "air-head": Look("#8fb0c0", "", 0),
    "board": Look("#dcb48a", "#a8622a", 0.8),
    "sticker": Look("#a8622a", "", 0),
    "bearer": Look("#8d6a48", "#5d4328", 0.8),
    "water-pipe": Look("", "#336079", 2),
    "nozzle": Look("#336079", "", 0),
    "drops": Look("", "#336079", 1.1, "2 3"),
    "vapour": Look("#ffffff", "#336079", 1),
    "sensor": Look("#ffffff", INK, 1.3),
    "sensor-line": Look("", INK, 1.3),
    "wick": Look("#dbe7ed", "#336079", 1.3),
    "plate": Look("#efe8da", "#a8622a", 1.3),
    "cable": Look("", INK, 1.5),
    "pin": Look(INK, "", 0),
    "way-out": Look("", INK, 2),
    "way-out-head": Look(INK, "", 0),
}


@dataclass(frozen=True, slots=True)
class Rect:
    """An upright rectangle."""

    x: float
    y: float
    width: float
    height: float
    look: str


@dataclass(frozen=True, slots=True)
class Circle:
    """A circle."""

    x: float
    y: float
    radius: float
    look: str


@dataclass(frozen=True, slots=True)
class Line:
    """A chain of straight strokes; closed, it is a polygon."""

    points: tuple[Point, ...]
    look: str
    is_closed: bool = False


@dataclass(frozen=True, slots=True)
class Curve:
    """A cubic Bézier curve."""

    start: Point
    control_1: Point
    control_2: Point
    end: Point
    look: str


Shape = Rect | Circle | Line | Curve


@dataclass(frozen=True, slots=True)
class MakeUp:
    """What decides how a kiln is drawn; the values are those of the model's choices."""

    heating_medium: str = "hot_water"
    humidifying: str = "water_spray"
    climate_sensing: str = "psychrometer"
    is_reversing: bool = True

    @classmethod
    def of(cls, kiln: "Kiln") -> "MakeUp":
        """Read it from a kiln."""
        return cls(kiln.heating_medium, kiln.humidifying, kiln.climate_sensing, kiln.is_reversing)


def chamber(make_up: MakeUp | None = None) -> tuple[Shape, ...]:
    """Draw the chamber, back to front."""
    make_up = make_up or MakeUp()
    return (
        *_ground(),
        *_envelope(),
        *_flaps(),
        *_air(make_up.is_reversing),
        *_deck(),
        *_heating(make_up.heating_medium),
        *_spray(make_up.humidifying),
        *_stacks(),
        *_sensing(make_up),
        *_electrode(),
        *_doors(),
    )


def _ground() -> Iterator[Shape]:
    yield Rect(46, 338, 428, 12, "slab")
    yield Line(((10, 350), (510, 350)), "ground")
    for x in range(16, 511, 26):
        yield Line(((x, 351), (x - 6, 357)), "soil")
    # the gutter in the floor
    yield Rect(252, 338, 16, 7, "room")
    yield Line(((252, 338), (252, 345), (268, 345), (268, 338)), "sensor-line")


def _envelope() -> Iterator[Shape]:
    outer = ((50, 338), (50, 96), (260, 68), (470, 96), (470, 338))
    inner = ((454, 338), (454, 110), (260, 84), (66, 110), (66, 338))
    yield Line((*outer, *inner), "skin", is_closed=True)
    yield Line(inner, "room", is_closed=True)
    yield Line(tuple(_quilt((58, 332), (58, 106), 38)), "filling")
    yield Line(tuple(_quilt((462, 332), (462, 106), 38)), "filling")
    yield Line(tuple(_quilt((66, 101), (258, 76), 32)), "filling")
    yield Line(tuple(_quilt((262, 76), (454, 101), 32)), "filling")


def _quilt(start: Point, end: Point, folds: int) -> Iterator[Point]:
    """Fold a line to and fro, as soft insulation is drawn in sections."""
    (x0, y0), (x1, y1) = start, end
    length = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5
    across = (-(y1 - y0) / length * 5, (x1 - x0) / length * 5)
    for i in range(folds + 1):
        way, side = i / folds, 1 if i % 2 else -1
        yield round(x0 + (x1 - x0) * way + side * across[0], 1), round(y0 + (y1 - y0) * way + side * across[1], 1)


def _flaps() -> Iterator[Shape]:
    for x in (138.0, 382.0):
        yield Rect(x - 15, 52, 30, 54, "hood")
        yield Line(((x - 22, 48), (x, 36), (x + 22, 48)), "hood", is_closed=True)
        yield Line(((x - 15, 84), (x + 15, 66)), "blade")
        yield Circle(x, 75, 2.6, "pivot")


def _deck() -> Iterator[Shape]:
    yield Line(((126, 186), (394, 186)), "deck")
    for x in (214.0, 306.0):
        yield from _fan(x, 148)
    for x, tip in ((166.0, 172.0), (354.0, 348.0)):
        yield Line(((x, 187), ((x + tip) / 2 + (tip - x), 202), (tip, 218)), "curtain")
        yield Circle(x, 187, 3, "pivot")


def _fan(x: float, y: float) -> Iterator[Shape]:
    yield Rect(x - 3, y + 24, 6, 13, "steel")
    yield Circle(x, y, 25, "shroud")
    for blade in range(5):
        turn = blade * 2 * pi / 5 - pi / 2
        yield Line(
            tuple(
                (round(x + r * cos(turn + lead), 1), round(y + r * sin(turn + lead), 1))
                for r, lead in ((5, -0.35), (14, -0.15), (22, 0.1), (21, 0.55), (11, 0.45))
            ),
            "vane",
            is_closed=True,
        )
    yield Circle(x, y, 4.5, "hub")


def _air(is_reversing: bool) -> Iterator[Shape]:
    """Show which way the air goes round: both ways where the fans reverse."""
    yield Curve((408, 160), (440, 176), (438, 214), (412, 232), "air")
    yield Curve((108, 232), (82, 214), (80, 176), (112, 160), "air")
    yield Line(((407, 236), (416, 225), (419, 236)), "air-head", is_closed=True)
    yield Line(((117, 157), (105, 157), (110, 167)), "air-head", is_closed=True)
    if is_reversing:
        yield Line(((113, 236), (104, 225), (101, 236)), "air-head", is_closed=True)
        yield Line(((403, 157), (415, 157), (410, 167)), "air-head", is_closed=True)


def _heating(medium: str) -> Iterator[Shape]:
    if medium == "direct_fired":
        yield from _burner()
    elif medium == "heat_pump":
        yield from _heat_pump()
    else:
        for x in (160.0, 360.0):
            yield from _elements(x) if medium == "electric" else _coil(x)


def _coil(x: float) -> Iterator[Shape]:
    """Finned pipes, two side by side, four high."""
    for row in range(4):
        for column in (-8.0, 8.0):
            cx, cy = x + column, 126 + row * 15.0
            yield Line(((cx, cy - 7), (cx, cy + 7)), "fin")
            yield Line(((cx - 7, cy), (cx + 7, cy)), "fin")
            yield Circle(cx, cy, 4.4, "pipe")


def _elements(x: float) -> Iterator[Shape]:
    for row in range(4):
        y = 124 + row * 15.0
        yield Line(tuple((x - 15 + i * 5, y + (4 if i % 2 else -4)) for i in range(7)), "element")


def _burner() -> Iterator[Shape]:
    """A burner outside the wall and its duct to the fan deck."""
    yield Rect(2, 118, 34, 42, "steel")
    yield Line(((19, 150), (10, 142), (15, 134), (18, 139), (21, 125), (28, 140), (24, 149)), "flame", is_closed=True)
    yield Rect(36, 134, 128, 10, "hood")
    yield Line(((164, 132), (176, 126), (176, 152), (164, 146)), "hood", is_closed=True)


def _heat_pump() -> Iterator[Shape]:
    """The cold coil on one side, the warm one on the other."""
    yield Rect(146, 118, 28, 62, "cold")
    for y in range(126, 178, 9):
        yield Line(((149, y), (171, y - 4)), "blade")
    yield Line(((160, 180), (160, 186)), "water-pipe")
    yield from _coil(360)


def _spray(humidifying: str) -> Iterator[Shape]:
    if humidifying == "none":
        return
    for x, into in ((92.0, 1), (428.0, -1)):
        yield Line(((x, 136), (x, 322)), "water-pipe")
        for y in range(248, 323, 24):
            yield Circle(x, y, 3, "nozzle")
            if humidifying == "steam_spray":
                for step, size in ((8, 3.0), (15, 4.0)):
                    yield Circle(x + into * step, y - step / 4, size, "vapour")
            else:
                for fall in (-7, 0, 7):
                    yield Line(((x + into * 4, y), (x + into * 20, y + fall)), "drops")


def _stacks() -> Iterator[Shape]:
    """Two stacks on bearers, boards in layers with stickers between."""
    for left in (174.0, 262.0):
        for x in (left + 6, left + 38, left + 70):
            yield Rect(x - 4, 328, 10, 10, "bearer")
        for layer in range(8):
            y = 222 + layer * 13.4
            if layer:
                for x in (left + 9, left + 41, left + 73):
                    yield Rect(x - 3, round(y - 4, 1), 6, 4, "sticker")
            for board in range(3):
                yield Rect(left + board * 28, round(y, 1), 26.4, 9.4, "board")


def _sensing(make_up: MakeUp) -> Iterator[Shape]:
    """Sensors on both sides of a kiln that reverses, else on the side where the air enters the stacks."""
    for x in (128.0, 394.0) if make_up.is_reversing else (128.0,):
        yield Line(((x - 8, 246), (x - 8, 262)), "sensor-line")
        yield Circle(x - 8, 266, 4, "sensor")
        if make_up.climate_sensing == "psychrometer":
            yield Line(((x + 7, 246), (x + 7, 260)), "sensor-line")
            yield Rect(x + 4, 258, 6, 13, "wick")
            yield Line(((x, 266), (x, 274), (x + 14, 274), (x + 14, 266)), "sensor-line")
        elif make_up.climate_sensing == "emc_plate":
            yield Rect(x + 1, 250, 12, 20, "plate")
            yield Line(((x + 4, 246), (x + 4, 256)), "sensor-line")
            yield Line(((x + 10, 246), (x + 10, 256)), "sensor-line")
        else:
            yield Line(((x + 7, 246), (x + 7, 254)), "sensor-line")
            yield Rect(x + 3, 254, 8, 16, "sensor")
            for y in (259, 263):
                yield Line(((x + 5, y), (x + 9, y)), "sensor-line")
        yield Line(((x - 12, 246), (x + 12, 246)), "sensor-line")


def _electrode() -> Iterator[Shape]:
    for x in (294.0, 300.0):
        yield Line(((x, 244), (x, 251)), "cable")
        yield Circle(x, 252, 2.2, "pin")
    yield Curve((297, 244), (340, 214), (384, 244), (450, 208), "cable")
    yield Rect(447, 202, 9, 12, "steel")


def _doors() -> Iterator[Shape]:
    # the main door hangs from its rail before the left wall; its seal meets the threshold
    yield Line(((36, 200), (64, 200)), "deck")
    yield Circle(47, 205, 4, "pivot")
    yield Rect(43, 210, 9, 122, "steel")
    yield Line(((40, 338), (44, 332), (56, 332), (60, 338)), "slab", is_closed=True)
    # the escape door opens outwards
    yield Rect(453, 262, 18, 76, "hood")
    yield Line(((471, 262), (484, 272), (484, 338), (471, 338)), "hood", is_closed=True)
    yield Circle(457, 300, 2.6, "pin")
    yield Line(((476, 304), (496, 304)), "way-out")
    yield Line(((494, 298), (505, 304), (494, 310)), "way-out-head", is_closed=True)


CARD_WIDTH, CARD_HEIGHT = 76.0, 58.0
CARD_LOOKS: dict[str, Look] = {
    "shell": Look("#ffffff", INK, 1.6),
    "warm": Look("#f0dfcd", INK, 1.6),
    "steam": Look("#dbe7ed", INK, 1.6),
    "stopped": Look("#f8dcd9", "#9c2727", 2),
    "planned": Look("#fbeecb", INK, 1.6),
    "board": Look("#dcb48a", "#a8622a", 0.8),
    "gone": Look("", LINE, 1, "3 2"),
    "air": Look("", "#336079", 2),
    "heat": Look("#9c2727", "", 0),
    "leaf": Look("#ffffff", INK, 1.4),
    "arrow": Look("", INK, 2.4),
    "cross": Look("", "#9c2727", 3.4),
    "bar": Look("#4d3200", "", 0),
    "ground": Look("", INK, 2),
}
LOADED = {"loading", "heating_up", "drying", "conditioning", "cooling", "unloading", "waiting_loaded"}
SHELLS = {
    "heating_up": "warm",
    "drying": "steam",
    "conditioning": "steam",
    "stopped": "stopped",
    "planned_down": "planned",
}


def small_chamber(state: str, *, is_loaded: bool) -> tuple[Shape, ...]:
    """Draw a chamber for a card: its look and a sign of its own tell the state (a value of ``KilnState``)."""
    shell = Line(((8, 54), (8, 18), (38, 6), (68, 18), (68, 54)), SHELLS.get(state, "shell"), is_closed=True)
    return (
        shell,
        *(_small_stack() if is_loaded or state in LOADED else _empty_place(state)),
        *_sign(state),
        Line(((1, 54.5), (75, 54.5)), "ground"),
    )


def _small_stack() -> Iterator[Shape]:
    for layer in range(4):
        for x in (20.0, 39.0):
            yield Rect(x, 30 + layer * 5.8, 17, 4, "board")


def _empty_place(state: str) -> Iterator[Shape]:
    if state == "no_timber":
        yield Rect(20, 30, 36, 22, "gone")


def _sign(state: str) -> Iterator[Shape]:
    match state:
        case "drying" | "conditioning":
            for x in (24, 38, 52) if state == "drying" else (31, 45):
                yield Curve((x, 27), (x - 6, 23), (x + 6, 20), (x, 16), "air")
        case "heating_up":
            for x in (24, 38, 52):
                yield Line(((x - 4, 27), (x, 17), (x + 4, 27)), "heat", is_closed=True)
        case "cooling":
            yield Line(((38, 14), (38, 26)), "arrow")
            yield Line(((33, 21), (38, 26.5), (43, 21)), "arrow")
        case "loading" | "unloading":
            tip, tail = (26, 2) if state == "loading" else (2, 26)
            back = 5 if tip > tail else -5
            yield Line(((tail, 44), (tip, 44)), "arrow")
            yield Line(((tip - back, 39), (tip, 44), (tip - back, 49)), "arrow")
        case "open_and_empty":
            yield Line(((8, 22), (1, 27), (1, 54), (8, 54)), "leaf", is_closed=True)
            yield Line(((68, 22), (75, 27), (75, 54), (68, 54)), "leaf", is_closed=True)
        case "no_record":
            yield Line(((32, 34), (34, 29), (42, 29), (44, 34), (38, 39), (38, 44)), "arrow")
            yield Line(((38, 47.5), (38, 50)), "arrow")
        case "stopped":
            yield Line(((28, 13), (48, 27)), "cross")
            yield Line(((48, 13), (28, 27)), "cross")
        case "planned_down":
            yield Rect(31, 14, 5, 13, "bar")
            yield Rect(40, 14, 5, 13, "bar")
        case _:
            return
