"""What leaves as CSV."""

import csv
import io
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from django.utils import timezone

from plant.frame.export import csv_cell, csv_response


@pytest.mark.parametrize("text", ["=1+1", "+cmd|' /C calc'!A0", "-2+3", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "=", "-"])
def test_text_that_looks_like_a_formula_gets_an_apostrophe(text: str) -> None:
    assert csv_cell(text) == f"'{text}"


@pytest.mark.parametrize("text", ["-3", "+4.5", "-0,25", "fan 3", "Łódź", "", "a=b"])
def test_numbers_and_plain_text_stay_as_they_are(text: str) -> None:
    assert csv_cell(text) == text


def test_values_are_written_so_that_they_can_be_read_again() -> None:
    with timezone.override("Europe/Stockholm"):
        assert csv_cell(datetime(2026, 7, 1, 22, 30, tzinfo=UTC)) == "2026-07-02 00:30"
    assert [csv_cell(v) for v in (None, True, Decimal("-1E+3"), date(2026, 3, 2))] == ["", "yes", "-1000", "2026-03-02"]


def test_a_response_quotes_commas_and_line_breaks_and_begins_with_a_byte_order_mark() -> None:
    response = csv_response("stops.csv", ["cause", "hours"], [["fan, left\n=2", Decimal("1.5")]])
    text = response.content.decode("utf-8")
    assert text.startswith("\ufeff")
    assert list(csv.reader(io.StringIO(text[1:], newline=""))) == [["cause", "hours"], ["fan, left\n=2", "1.5"]]
    assert response["Content-Disposition"] == 'attachment; filename="stops.csv"'
