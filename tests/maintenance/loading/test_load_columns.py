"""Cells are read as the mill means them, or refused with a remedy."""

from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook

from maintenance.loading.columns import Customs, read_day, read_moment, read_number
from maintenance.loading.faults import CellFault
from maintenance.loading.reading import read_sheet

SWEDEN = Customs(ZoneInfo("Europe/Stockholm"))
SEMICOLON = Customs(ZoneInfo("Europe/Stockholm"), is_semicolon=True)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("12", "12"),
        ("-3.5", "-3.5"),
        ("3,5", "3.5"),
        ("1 250,75", "1250.75"),
        ("1.250,75", "1250.75"),
        ("1,250.75", "1250.75"),
        ("1.234.567", "1234567"),
        ("0,125", "0.125"),
        ("1.250", "1.250"),
        ("\u221240", "-40"),
    ],
)
def test_numbers_have_a_point_or_a_comma(text: str, expected: str) -> None:
    assert read_number(text, SWEDEN) == Decimal(expected)


@pytest.mark.parametrize("text", ["1,250", "-12,500"])
def test_a_number_that_could_mean_two_things_is_refused(text: str) -> None:
    with pytest.raises(CellFault, match="this can mean") as refusal:
        read_number(text, SWEDEN)
    assert "decimal_mark" in refusal.value.remedy


def test_a_point_is_doubtful_where_semicolons_stand_between_the_cells() -> None:
    with pytest.raises(CellFault, match=r"1250 or 1\.250"):
        read_number("1.250", SEMICOLON)


def test_the_mills_decimal_mark_settles_it() -> None:
    zone = ZoneInfo("Europe/Stockholm")
    assert read_number("1.250", Customs(zone, decimal_mark=",")) == 1250
    assert read_number("1.250", Customs(zone, decimal_mark=".")) == Decimal("1.25")
    assert read_number("1,250", Customs(zone, decimal_mark=".")) == 1250


def test_the_other_mark_is_refused_with_the_mark_that_the_mill_stated() -> None:
    with pytest.raises(CellFault, match=r"the decimal mark of this mill is “\.”") as refusal:
        read_number("84,25", Customs(ZoneInfo("Europe/Stockholm"), decimal_mark="."))
    assert refusal.value.remedy == "Write 84.25, or state “,” as decimal_mark in mill.csv."


@pytest.mark.parametrize("text", ["=1+1", "12 m", "1e5", "NaN", "Infinity", "1,2,3", "1.2.3,4", "..", "12.50.3", "٣x"])
def test_what_is_no_number_is_refused(text: str) -> None:
    with pytest.raises(CellFault, match="no number"):
        read_number(text, SWEDEN)


@given(st.decimals(min_value=-1_000_000, max_value=1_000_000, places=4))
def test_every_number_comes_back_from_either_notation(number: Decimal) -> None:
    assert read_number(str(number), SWEDEN) == number
    assert read_number(str(number).replace(".", ","), SWEDEN) == number


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2026-12-31", date(2026, 12, 31)),
        ("31.12.2026", date(2026, 12, 31)),
        ("3.4.2026", date(2026, 4, 3)),
        ("31/12/2026", date(2026, 12, 31)),
        ("12/31/2026", date(2026, 12, 31)),
        ("5/5/2026", date(2026, 5, 5)),
        ("2026-12-31 00:00:00", date(2026, 12, 31)),
    ],
)
def test_days_are_read_in_iso_and_local_form(text: str, expected: date) -> None:
    assert read_day(text, SWEDEN) == expected


def test_a_day_with_slashes_that_could_be_exchanged_is_refused_until_the_mill_states_its_order() -> None:
    with pytest.raises(CellFault, match="could be exchanged"):
        read_day("3/4/2026", SWEDEN)
    zone = ZoneInfo("UTC")
    assert read_day("3/4/2026", Customs(zone, date_order="dmy")) == date(2026, 4, 3)
    assert read_day("3/4/2026", Customs(zone, date_order="mdy")) == date(2026, 3, 4)


@pytest.mark.parametrize("text", ["2026-02-30", "31.4.2026", "13/13/2026"])
def test_a_day_that_does_not_exist_is_refused(text: str) -> None:
    with pytest.raises(CellFault, match="no such day"):
        read_day(text, SWEDEN)


def test_instants_are_local_times_of_the_mill() -> None:
    assert read_moment("2026-07-01 06:30", SWEDEN) == datetime(2026, 7, 1, 4, 30, tzinfo=UTC)
    assert read_moment("1.12.2026 06:30", SWEDEN) == datetime(2026, 12, 1, 5, 30, tzinfo=UTC)
    assert read_moment("2026-07-01T06:30:00Z", SWEDEN) == datetime(2026, 7, 1, 6, 30, tzinfo=UTC)


def test_a_local_time_that_the_change_of_clocks_leaves_out_is_refused() -> None:
    with pytest.raises(CellFault, match="put forward in Europe/Stockholm") as refusal:
        read_moment("2026-03-29 02:30", SWEDEN)
    assert "03:30" in refusal.value.remedy


def test_a_local_time_that_comes_twice_needs_its_distance_from_utc() -> None:
    with pytest.raises(CellFault, match="comes twice") as refusal:
        read_moment("2026-10-25 02:30", SWEDEN)
    assert "2026-10-25 02:30+02:00 or 2026-10-25 02:30+01:00" in refusal.value.remedy
    assert read_moment("2026-10-25 02:30+02:00", SWEDEN) == datetime(2026, 10, 25, 0, 30, tzinfo=UTC)


@pytest.mark.parametrize("text", ["2026-07-01", "06:30", "2026-07-01 25:00", "2026-07-01 06:30+99:00", "soon"])
def test_what_is_no_instant_is_refused(text: str) -> None:
    with pytest.raises(CellFault):
        read_moment(text, SWEDEN)


@pytest.mark.parametrize(("cell", "kept"), [(62.5, "62.5"), (1.234, "1.234"), (1234, "1234"), (0.1 + 0.2, "0.3")])
def test_a_number_in_a_workbook_is_a_number_whatever_the_mills_decimal_mark(
    tmp_path: Path, cell: float, kept: str
) -> None:
    book = Workbook()
    assert book.active is not None
    book.active.append(["tag", "usable_m3"])
    book.active.append(["K1", cell])
    book.save(tmp_path / "kilns.xlsx")
    (_, text), *_ = read_sheet(tmp_path / "kilns.xlsx", "kilns", ("tag", "usable_m3"), 10**6).rows
    for mark in ("", ",", "."):
        assert read_number(text["usable_m3"], Customs(decimal_mark=mark)) == Decimal(kept)
