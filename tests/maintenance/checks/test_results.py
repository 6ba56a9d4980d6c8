"""What a finding can be stands in one table; whoever reads it says the same."""

import re
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders

from maintenance.checks.forms import FindingForm
from maintenance.loading.check_tables import CheckFindingTable
from maintenance.models import Finding
from maintenance.orders import paper_blocks as blocks
from plant.pictures.marks import IN_DOUBT, MARKS, RESULTS, WORST_FIRST, Mark, worst
from plant.templatetags.end_view import result_button, show_result

TEMPLATES = Path(__file__).parents[3] / "maintenance" / "checks" / "templates"
CODES = [result.code for result in RESULTS]


def style(name: str) -> str:
    return Path(str(finders.find(name))).read_text(encoding="utf-8")


def test_the_model_and_the_form_offer_the_results_of_the_table() -> None:
    assert Finding.Result.choices == [(result.code, result.word) for result in RESULTS]
    assert list(FindingForm.base_fields["result"].choices) == Finding.Result.choices  # type: ignore[attr-defined]
    assert all(len(code) <= (Finding._meta.get_field("result").max_length or 0) for code in CODES)


def test_a_file_of_findings_names_each_result() -> None:
    column = next(column for column in CheckFindingTable.columns if column.name == "result")
    assert re.findall(r"\w+", column.meaning.replace(" or ", " ")) == CODES


def test_the_round_sheet_shows_the_shapes_of_the_table_in_its_order() -> None:
    assert blocks.RESULTS is RESULTS


def test_a_page_shows_shape_and_word_of_each_result() -> None:
    for result in RESULTS:
        shown = show_result(result.code)
        assert "<svg" in shown and str(result.word) in shown
    assert "waiting" in show_result(None)


@pytest.mark.parametrize("result", RESULTS, ids=CODES)
def test_a_button_enters_its_result_in_colours_that_the_style_sheet_has(result: Mark) -> None:
    button = result_button(result.code)
    assert f'value="{result.code}"' in button
    tones = re.findall(r"verdict-(\w+)", button)
    assert tones == ([result.tone] if result.tone else [])
    assert all(f".verdict-{tone} {{" in style("maintenance/work.css") for tone in tones)


def test_the_page_of_a_point_offers_every_result() -> None:
    page = (TEMPLATES / "checks" / "check_item.html").read_text(encoding="utf-8")
    assert set(re.findall(r'\{% result_button "(\w+)"', page)) == set(CODES)


def test_the_worse_counts_and_a_defect_is_the_worst() -> None:
    assert WORST_FIRST == ("defect", "worn", "not_seen", "sound")
    assert worst(["sound", "open"]) == "open" and worst(["open", "not_seen"]) == "not_seen"
    assert max(MARKS.values(), key=lambda mark: mark.weight).code == "defect"


def test_what_was_not_found_sound_bars_entry_by_a_doubt_or_as_a_defect() -> None:
    assert {*IN_DOUBT, Finding.Result.DEFECT} == set(CODES) - {Finding.Result.SOUND}
