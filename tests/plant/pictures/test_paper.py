"""The sheet under every printed paper."""

import io
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest
from pypdf import PdfReader
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.platypus import Flowable

from plant.availability.charts import bridge_bars
from plant.charges.calculations.drying_loss import Bridge
from plant.frame.figures import fixed
from plant.pictures.paper import BOLD, REGULAR, Heading, Paper, fitting, grid, printable, text

DRAWN_AT = datetime(2026, 3, 2, 6, tzinfo=UTC)


class Letter(Paper):
    """A paper with whatever a test puts on it."""

    is_safety_relevant = True

    def __init__(self, blocks: list[Flowable], mill_name: str = "Fallow Bridge Sawmill") -> None:
        super().__init__(mill_name, DRAWN_AT)
        self.blocks = blocks

    @property
    def title(self) -> str:
        return "A letter"

    def story(self) -> list[Flowable]:
        return self.blocks


def pages_of(blocks: list[Any], **kwargs: Any) -> list[str]:
    pages = PdfReader(io.BytesIO(Letter(blocks, **kwargs).to_bytes())).pages
    return [" ".join(page.extract_text().split()) for page in pages]


def test_every_page_says_whose_it_is_when_it_was_drawn_up_and_which_of_how_many() -> None:
    pages = pages_of([text("word " * 4000)])
    assert len(pages) > 2
    for number, page in enumerate(pages, start=1):
        for words in (
            "Fallow Bridge Sawmill",
            "A letter",
            "As of 2 March 2026, 06:00",
            "Local codes and licensed trades",
        ):
            assert words in page
        assert f"Page {number} of {len(pages)}" in page


def test_the_same_paper_is_the_same_bytes() -> None:
    assert Letter([text("one")]).to_bytes() == Letter([text("one")]).to_bytes()


def test_letters_of_many_alphabets_are_printed_and_unknown_ones_do_not_vanish() -> None:
    (page,) = pages_of([text("Łódź Ω Ж ü € ≤ <b>&amp;</b>"), Heading("Ω & <i>"), text("窯 a\x00b\nc")])
    assert "Łódź Ω Ж ü € ≤ <b>&amp;</b>" in page
    assert "Ω & <i>" in page
    assert printable("窯 a\x00b\nc") == "[?] ab c"


def test_a_word_wider_than_the_page_and_a_row_higher_than_it_are_broken() -> None:
    rows = [("x" * 400, "long " * 3000), ("last", "row")]
    pages = pages_of([grid(("a", "b"), rows, (40, 60))])
    assert len(pages) > 3
    assert "last" in pages[-1]


def test_rows_move_to_the_next_page_whole_where_they_can() -> None:
    rows = [(str(number), "three lines of words " * 6) for number in range(60)]
    pages = pages_of([grid(("no", "words"), rows, (12, 60))])
    for page in pages:
        assert "no words" in page
        assert page.count("three lines of words") % 6 == 0


def test_a_name_too_long_for_the_head_is_shortened_there() -> None:
    (page,) = pages_of([text("a")], mill_name="Sawmill " * 40)
    assert "…" in page
    assert fitting("short", 9, 200) == "short"


@pytest.mark.parametrize(
    ("under_way", "pace"), [("90.004", "12.345"), ("-60.006", "-7.001"), ("0", "0"), ("-3000", "2990")]
)
def test_the_figures_beside_the_bars_add_up_as_they_stand(under_way: str, pace: str) -> None:
    losses = [Decimal(n) for n in ("620.044", "41.009", "310.067", "540.049", "180.022", under_way, pace)]
    could_dry = Decimal("10400.049")
    bars = bridge_bars(Bridge(could_dry, *losses, could_dry - sum(losses)), None)
    figures = [Decimal(bar.figure.replace(",", "").replace("−", "-").split()[0]) for bar in bars]
    assert sum(figures[:-1]) == figures[-1]
    assert bars[0].figure == f"{fixed(Decimal('10400.0'))} m³"
    assert all(bar.left >= 0 and bar.left + bar.width <= 100.01 for bar in bars)


def test_headings_are_set_in_a_bold_of_the_typeface_and_figures_are_all_of_one_width() -> None:
    (page,) = PdfReader(io.BytesIO(Letter([Heading("Strong"), text("regular")]).to_bytes())).pages
    cuts = {str(font.get_object()["/BaseFont"]).split("+")[-1] for font in page["/Resources"]["/Font"].values()}
    assert {"Lato-Regular", "Lato-Bold"} <= cuts
    assert b" Tr" not in page.get_contents().get_data()
    for font in (REGULAR, BOLD):
        assert len({stringWidth(figure, font, 10) for figure in "0123456789"}) == 1
