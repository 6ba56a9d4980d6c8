"""The drawing of the chamber and the marks on its numbers."""

import re
from typing import Any
from xml.etree import ElementTree

import pytest
from django.template import engines

from plant.kilns.calculations.kiln_state import KilnState
from plant.models import ComponentKind, Kiln
from plant.pictures import end_view
from plant.pictures.marks import MARK_SIZE, MARKS, mark_at
from plant.templatetags.end_view import show_end_view

MEDIA = Kiln.HeatingMedium.values


def drawn(marks: dict[int, Any], size: str = "large", kiln: Kiln | None = None) -> str:
    source = "{% load end_view %}{% chamber_end_view marks size kiln %}"
    page = engines["django"].from_string(source).render({"marks": marks, "size": size, "kiln": kiln})
    # White space at the edges of a text is never seen.
    return re.sub(r"\s*(</?(?:text|span)\b[^>]*>)\s*", r"\1", " ".join(page.split()))


def points_of(shape: end_view.Shape) -> list[tuple[float, float]]:
    match shape:
        case end_view.Rect(x, y, width, height):
            return [(x, y), (x + width, y + height)]
        case end_view.Circle(x, y, radius):
            return [(x - radius, y - radius), (x + radius, y + radius)]
        case end_view.Line(points):
            return list(points)
        case end_view.Curve(start, first, second, end):
            return [start, first, second, end]


def test_every_number_of_the_catalogue_has_a_name_and_a_place() -> None:
    assert list(end_view.NUMBER_NAMES) == sorted(end_view.POSITIONS) == list(range(1, 13))


def test_marks_do_not_lie_on_one_another() -> None:
    places = list(end_view.POSITIONS.values())
    for i, (x, y) in enumerate(places):
        for other_x, other_y in places[:i]:
            assert ((x - other_x) ** 2 + (y - other_y) ** 2) ** 0.5 > 2 * MARK_SIZE * 1.2


@pytest.mark.parametrize("medium", MEDIA)
@pytest.mark.parametrize("humidifying", Kiln.Humidifying.values)
def test_the_drawing_stays_in_its_frame_and_every_look_is_known(medium: str, humidifying: str) -> None:
    for sensing in Kiln.ClimateSensing.values:
        for shape in end_view.chamber(end_view.MakeUp(medium, humidifying, sensing, is_reversing=True)):
            assert shape.look in end_view.LOOKS
            assert all(0 <= x <= end_view.WIDTH and 0 <= y <= end_view.HEIGHT for x, y in points_of(shape))


def test_the_drawing_follows_the_kiln() -> None:
    plain = end_view.chamber(end_view.MakeUp())
    looks = {shape.look for shape in plain}
    assert {"water-pipe", "pipe", "wick", "sticker", "curtain"} <= looks
    assert "water-pipe" not in {shape.look for shape in end_view.chamber(end_view.MakeUp(humidifying="none"))}
    assert "flame" in {shape.look for shape in end_view.chamber(end_view.MakeUp(heating_medium="direct_fired"))}
    one_way = end_view.chamber(end_view.MakeUp(is_reversing=False))
    heads = [sum(shape.look == "air-head" for shape in drawing) for drawing in (plain, one_way)]
    assert heads == [4, 2]


def test_each_mark_has_a_shape_of_its_own() -> None:
    assert len({mark.outline for mark in MARKS.values()}) == len(MARKS)
    corners = {mark.code: mark.outline.corners for mark in MARKS.values()}
    assert corners == {"sound": 0, "worn": 4, "defect": 3, "not_seen": 4, "open": 6, "none": 0}
    for code in MARKS:
        shape = mark_at(code, 0, 0)
        assert shape.look == code
        assert all(abs(x) < 25 and abs(y) < 25 for x, y in points_of(shape))


def test_a_mark_says_its_state_in_words_and_links_where_told() -> None:
    page = drawn({7: {"state": "defect", "label": "nozzle 5 <scaled>", "url": "/kilns/K2/"}})
    assert "7 Spray: defect – nozzle 5 &lt;scaled&gt;" in page
    assert page.count('href="/kilns/K2/"') == 2
    assert "style=" not in page
    assert all(f">{number}</text>" in page for number in range(1, 13))


def test_the_words_stand_below_even_where_only_a_screen_reader_reads_them() -> None:
    page = drawn({}, size="small")
    assert 'class="hidden-word"' in page
    assert all(
        f'{name}<span class="hidden-word">: nothing noted' in page for name in map(str, end_view.NUMBER_NAMES.values())
    )


def test_the_picture_is_well_formed() -> None:
    page = drawn({number: {"state": state} for number, state in enumerate(MARKS, start=1)})
    assert ElementTree.fromstring(page.replace("&nbsp;", " ")).tag == "figure"


def test_an_unknown_state_is_a_mistake_of_the_program() -> None:
    with pytest.raises(KeyError, match="bursting"):
        show_end_view({1: {"state": "bursting"}})


def test_the_groups_of_the_catalogue_fit_in_the_numbers() -> None:
    field = ComponentKind._meta.get_field("end_view_no")
    assert [v.limit_value for v in field.validators[:2]] == [1, 12]  # type: ignore[attr-defined]


@pytest.mark.parametrize("state", list(KilnState))
def test_the_small_chamber_stays_in_its_frame(state: KilnState) -> None:
    for shape in end_view.small_chamber(state, is_loaded=state is KilnState.STOPPED):
        assert shape.look in end_view.CARD_LOOKS
        assert all(0 <= x <= end_view.CARD_WIDTH and 0 <= y <= end_view.CARD_HEIGHT for x, y in points_of(shape))


def test_no_two_states_of_a_kiln_look_alike_in_black_and_white() -> None:
    def outline(state: KilnState) -> str:
        loaded = state in end_view.LOADED
        return repr([points_of(shape) for shape in end_view.small_chamber(state, is_loaded=loaded)])

    assert len({outline(state) for state in KilnState}) == len(KilnState)
