"""A logger's file: found out how it is written, read by what was confirmed, and every faulty cell told."""

import random
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, note, settings
from hypothesis import strategies as st

from plant.frame.saying import say, saying_for
from plant.models import Mill
from plant.readings.files.calculations.column_guess import Candidate, guess_channels
from plant.readings.files.calculations.faults import FaultyFileError, OtherHeadError
from plant.readings.files.calculations.finding import find_form
from plant.readings.files.calculations.form import FileForm
from plant.readings.files.calculations.instants import days_from_civil, read_time, read_times
from plant.readings.files.calculations.numbers import read_number, read_numbers
from plant.readings.files.calculations.reading import FileReadings, read_all
from plant.readings.files.calculations.sampling import look_at_names
from plant.readings.files.calculations.wall_clock import is_zone, to_instants
from tests.plant.readings.logger_tables import FORMATS, Written, write_table

STOCKHOLM = "Europe/Stockholm"
# 2026-11-25 00:00 UTC
DAY_S = 1_795_564_800
LATEST_S = DAY_S + 86_400


def read(text: str | bytes, fixed: dict[str, Any] | None = None, **changed: Any) -> FileReadings:
    """Read by what was found, and what somebody says."""
    raw = text.encode() if isinstance(text, str) else text
    form = find_form(raw, fixed).form
    return read_all(raw, replace(form, **{"zone": form.zone or "UTC", **changed}), latest_s=LATEST_S)


def faults_of(text: str | bytes, fixed: dict[str, Any] | None = None, **changed: Any) -> list[str]:
    with pytest.raises(FaultyFileError) as caught:
        read(text, fixed, **changed)
    with saying_for(Mill(time_zone="UTC")):
        return [say(one) for one in caught.value.told()]


def pairs(readings: FileReadings, name: str) -> list[tuple[int, float]]:
    here = readings.name_no == readings.names.index(name)
    return list(zip(readings.at_s[here].tolist(), readings.value[here].tolist(), strict=True))


NAMES = st.lists(
    st.sampled_from(["K1 dry", "K1 wet °C", "feucht", "T, left", "flow;2", 'a "b"', "x", "Å"]),
    min_size=1,
    max_size=4,
    unique=True,
)
VALUES = st.one_of(
    st.none(),
    st.integers(-500, 99_999).map(lambda whole: whole / 10),
    st.floats(-1e6, 1e6, allow_nan=False, width=32).map(float),
)


@st.composite
def forms(draw: st.DrawFn) -> Written:
    order = draw(st.sampled_from(sorted(FORMATS)))
    time_format = draw(st.sampled_from(FORMATS[order]))
    can_stand_apart = " " in time_format and "%p" not in time_format
    is_apart = can_stand_apart and draw(st.booleans())
    return Written(
        order=order,
        time_format=time_format,
        zone=draw(st.sampled_from(["UTC", STOCKHOLM, "America/New_York", "Asia/Kolkata"])),
        is_offset_told=bool(time_format) and "%p" not in time_format and not is_apart and draw(st.booleans()),
        is_apart=is_apart,
        delimiter=draw(st.sampled_from([",", ";", "\t"])),
        decimal=draw(st.sampled_from([".", ","])),
        encoding=draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"])),
        is_long=draw(st.booleans()),
        preamble=draw(st.sampled_from([(), ("Logger 4711",), ("Kiln 1", "", "Export of 2026", "")])),
        has_units=draw(st.booleans()),
        line_end=draw(st.sampled_from(["\n", "\r\n"])),
        ends=draw(st.booleans()),
        silent=draw(st.sampled_from(["", "---", "NaN", "#N/A", "OVFL"])),
        quotes_all=draw(st.booleans()),
    )


@settings(max_examples=120, deadline=None)
@given(form=forms(), names=NAMES, data=st.data(), count=st.integers(1, 12), step=st.integers(1, 90_000))
def test_a_table_written_in_any_form_is_read_back_equal(
    form: Written, names: list[str], data: st.DataObject, count: int, step: int
) -> None:
    start = data.draw(st.integers(1_000_000_000, DAY_S - 1_200_000))
    moments = [start + number * step for number in range(count)]
    columns = {name: data.draw(st.lists(VALUES, min_size=count, max_size=count)) for name in names}
    assume(any(value is not None for values in columns.values() for value in values))
    units = dict(zip(names, ["°C", "%", "A", "kW"], strict=False))
    raw = write_table(moments, columns, units, form)
    said: dict[str, Any] = {"delimiter": form.delimiter, "decimal": form.decimal, "date_order": form.order}
    said |= {"shape": "long" if form.is_long else "wide"}
    note(repr(raw))
    found = find_form(raw)
    # What is called sure must be so; what is not is what somebody would say.
    for code, truth in said.items():
        if found.point(code).is_sure and (code != "decimal" or any("." in str(v) for v in columns.values())):
            assert getattr(found.form, code) == truth, found.point(code)
    fixed: dict[str, Any] = {code: truth for code, truth in said.items() if not found.point(code).is_sure}
    fixed |= {"time_columns": (0, 1) if form.is_apart else (0,)}
    if form.is_long:
        first = 2 if form.is_apart else 1
        fixed |= {"shape": "long", "name_column": first, "value_column": first + 1}
        fixed["unit_column"] = first + 2 if form.has_units else -1
    head = len(form.preamble) + 1
    if found.form.head_line != head or not found.form.head_rows:
        assert not found.point("head").is_sure
        fixed["head_line"] = head
    asked = find_form(raw, fixed)
    zone = asked.form.zone if asked.point("zone").is_sure else form.zone
    readings = read_all(raw, replace(asked.form, zone=zone, doubled_hour="order"), latest_s=LATEST_S)
    assert set(readings.names) >= {name for name in names if any(v is not None for v in columns[name])}
    for name in names:
        expected = [(at_s, value) for at_s, value in zip(moments, columns[name], strict=True) if value is not None]
        assert pairs(readings, name) == expected if name in readings.names else not expected


@given(st.lists(st.integers(946_684_800, 4_102_444_799), min_size=1, max_size=30), st.sampled_from(sorted(FORMATS)))
def test_times_are_read_as_the_standard_library_reads_them(moments: list[int], order: str) -> None:
    for time_format in FORMATS[order]:
        form = Written(order=order, time_format=time_format)
        lines = write_table(moments, {"x": moments}, {}, form).decode().splitlines()[1:]
        texts = [line.rsplit(",", 1)[0] for line in lines]
        times = read_times(texts, order)
        assert times.local_s.tolist() == moments
        assert not len(times.faulty)


@given(st.integers(1, 9999), st.integers(1, 12), st.integers(1, 28))
def test_days_are_counted_as_the_calendar_counts_them(year: int, month: int, day: int) -> None:
    counted = days_from_civil(*(np.array([part]) for part in (year, month, day)))
    assert counted.tolist() == [
        (np.datetime64(f"{year:04d}-{month:02d}-{day:02d}") - np.datetime64("1970-01-01")).astype(int)
    ]


@pytest.mark.parametrize(
    ("text", "order", "expected"),
    [
        ("2026-11-25T08:00:00Z", "ymd", (DAY_S + 28_800, 0)),
        ("2026-11-25 08:00:00.750+01:00", "ymd", (DAY_S + 28_800, 3600)),
        ("20261125 080000", "ymd", (DAY_S + 28_800, None)),
        ("2026-11-24 24:00", "ymd", (DAY_S, None)),
        ("25.11.26 8.00", "dmy", (DAY_S + 28_800, None)),
        ("25-Nov-2026 08:00", "dmy", (DAY_S + 28_800, None)),
        ("11/25/2026, 8:00 PM", "mdy", (DAY_S + 72_000, None)),
        ("11/25/2026 12:00 AM", "mdy", (DAY_S, None)),
        ("2026-11-25", "ymd", (DAY_S, None)),
        ("2026-02-30 08:00", "ymd", None),
        ("2026-11-25 25:00", "ymd", None),
        ("25.13.2026 08:00", "dmy", None),
        ("11/25/2026 13:00 PM", "mdy", None),
        ("tomorrow", "ymd", None),
    ],
)
def test_a_time_is_read_in_its_order_or_not_at_all(
    text: str, order: str, expected: tuple[int, int | None] | None
) -> None:
    assert read_time(text, order) == expected


@pytest.mark.parametrize("text", ["1_000", "1e400", "inf", "nan1", "1.2.3", "12,5", "0x10", "١", "5 °C", "1e12", "-"])
def test_what_is_no_number_is_no_number(text: str) -> None:
    assert read_number(text, ".") is None


def test_numbers_are_read_one_by_one_as_they_are_read_together() -> None:
    texts = ["1", " 2.5 ", "", "-.5", "+3e2", "\u22124", "1\u00a0234.5", "---", "abc"]
    values, faulty = read_numbers(texts, ".", frozenset({"", "---"}))
    assert values[:7].tolist()[:2] == [1, 2.5]
    assert values[3:7].tolist() == [-0.5, 300, -4, 1234.5]
    assert np.isnan(values[[2, 7, 8]]).all()
    assert faulty.tolist() == [8]


def test_a_decimal_comma_never_passes_for_a_point() -> None:
    head = "time;T\n2026-11-24 08:00;62,5\n2026-11-24 08:01;1.234\n"
    assert "“1.234” has a decimal point, but the file is read with a decimal comma" in faults_of(head)[0]
    assert "Line 3, column “T”" in faults_of(head)[0]


# The clock is put back on 2026-10-25 at 03:00, which is 01:00 UTC.
BACK_S = 1_792_890_000


@settings(deadline=None)
@given(st.integers(-20, 20), st.integers(10, 200), st.sampled_from([60, 300, 600, 900]), st.booleans())
def test_a_clock_put_back_is_told_by_the_order_of_the_lines(
    before: int, after: int, step: int, newest_first: bool
) -> None:
    moments = np.arange(BACK_S - 7200 + before * step, BACK_S + 7200 + after * step, step)
    moments = moments[::-1] if newest_first else moments
    local = np.where(moments < BACK_S, moments + 7200, moments + 3600)
    instants = to_instants(local, STOCKHOLM)
    assert instants.at_s.tolist() == moments.tolist()
    assert not len(instants.missing)
    assert not len(instants.doubtful)


def test_each_channel_of_a_long_file_has_its_own_order() -> None:
    moments = np.arange(BACK_S - 5400, BACK_S + 5400, 600)
    local = np.where(moments < BACK_S, moments + 7200, moments + 3600)
    by_channel = to_instants(np.concatenate([local, local]), STOCKHOLM, np.repeat([0, 1], len(local)))
    by_time = to_instants(np.repeat(local, 2), STOCKHOLM, np.tile([0, 1], len(local)))
    assert by_channel.at_s.tolist() == [*moments.tolist(), *moments.tolist()]
    assert by_time.at_s.tolist() == np.repeat(moments, 2).tolist()


def test_an_hour_that_comes_twice_and_stands_once_is_asked_about() -> None:
    rows = "".join(f"2026-10-25 {hour:02d}:{minute:02d},1\n" for hour in (1, 2, 3) for minute in range(0, 60, 10))
    told = faults_of(f"time,a\n{rows}", zone=STOCKHOLM)
    assert len(told) == 6
    assert "Line 8" in told[0]
    assert "comes twice in Europe/Stockholm" in told[0]
    assert read(f"time,a\n{rows}", zone="+01:00").at_s.tolist()[0] == 1_792_886_400
    first = read(f"time,a\n{rows}", zone=STOCKHOLM, doubled_hour="first").at_s
    second = read(f"time,a\n{rows}", zone=STOCKHOLM, doubled_hour="second").at_s
    assert (second - first).tolist() == [0] * 6 + [3600] * 6 + [0] * 6


@pytest.mark.parametrize(("hours", "begins_s"), [(("01", "02"), BACK_S - 7200), (("02", "03"), BACK_S)])
def test_a_file_that_ends_or_begins_in_that_hour_follows_its_neighbours(hours: tuple[str, str], begins_s: int) -> None:
    rows = "".join(f"2026-10-25 {hour}:{minute:02d},1\n" for hour in hours for minute in range(0, 60, 10))
    assert read(f"time,a\n{rows}", zone=STOCKHOLM).at_s.tolist() == list(range(begins_s, begins_s + 7200, 600))


def test_a_time_that_spring_leaves_out_is_explained() -> None:
    told = faults_of("time,a\n2026-03-29 01:30,1\n2026-03-29 02:30,2\n2026-03-29 03:30,3\n", zone=STOCKHOLM)
    assert "Line 3" in told[0]
    assert "does not exist in Europe/Stockholm" in told[0]
    assert "fixed distance from UTC" in told[0]


@pytest.mark.parametrize("zone", ["Mars/Olympus", "../etc/passwd", "", "+1", "Europe", "\0"])
def test_what_is_no_zone_is_refused(zone: str) -> None:
    assert not is_zone(zone)


@pytest.mark.parametrize(
    ("dates", "order"),
    [
        (["01/11/2026", "13/11/2026"], "dmy"),
        (["11/01/2026", "11/13/2026"], "mdy"),
        (["01.02.2026", "02.02.2026"], "dmy"),
        (["2026-02-01", "2026-02-02"], "ymd"),
        (["01/02/2026", "02/02/2026"], ""),
        (["03-04-2026", "04-04-2026"], ""),
    ],
)
def test_day_and_month_that_can_be_exchanged_are_asked_for_never_guessed(dates: list[str], order: str) -> None:
    rows = "".join(f"{day} 08:00;1\n" for day in dates)
    found = find_form(f"Zeit;T\n{rows}".encode())
    assert found.form.date_order == order
    assert found.point("date_order").is_sure == bool(order)
    if not order:
        assert "Please say which is meant" in found.point("date_order").reason
        with pytest.raises(ValueError, match="not complete"):
            read_all(f"Zeit;T\n{rows}".encode(), replace(found.form, zone="UTC"))


def test_channels_called_by_numbers_make_a_long_table_and_columns_called_sensor_do_not() -> None:
    lines = "".join(f"2026-11-24 08:0{minute},{no},{no * 10 + minute}\n" for minute in range(4) for no in (1, 2))
    long = find_form(f"time,channel,value\n{lines}".encode()).form
    assert (long.shape, long.name_column, long.value_column) == ("long", 1, 2)
    lines = "".join(f"2026-11-24 08:0{minute},{minute}.5,{minute}\n" for minute in range(4))
    assert find_form(f"time,T1,sensor 2\n{lines}".encode()).form.shape == "wide"


def test_a_late_line_of_a_long_file_decides_day_and_month() -> None:
    rows = "".join(f"0{1 + number // 300}/02/2026 {number % 24:02d}:00;1\n" for number in range(2400))
    assert find_form(f"Zeit;T\n{rows}".encode()).form.date_order == ""
    assert find_form(f"Zeit;T\n{rows}13/02/2026 08:00;1\n".encode()).form.date_order == "dmy"


def test_names_and_units_are_found_below_a_preamble() -> None:
    text = "Logger 4711\n\nDate;Time;T left;RH\ndd.mm.yyyy;hh:mm;°C;%\n25.11.2026;08:00;62,5;80\n"
    found = find_form(text.encode("cp1252"))
    assert (found.form.header, found.form.units) == (
        ("Date", "Time", "T left", "RH"),
        ("dd.mm.yyyy", "hh:mm", "°C", "%"),
    )
    assert (found.form.head_line, found.form.head_rows, found.form.encoding) == (3, 2, "cp1252")
    assert not found.point("encoding").is_sure
    assert [(look.name, look.unit) for look in look_at_names(text.encode("cp1252"), found.form)] == [
        ("T left", "°C"),
        ("RH", "%"),
    ]


def test_a_line_of_words_may_stand_below_the_units_and_no_reading_passes_for_head() -> None:
    found = find_form(b"Logger\nTIME,T,RH\n,degC,%\n,Avg,Smp\n2026-11-24 08:00,62.5,80\n")
    assert (found.form.header, found.form.units, found.form.head_rows) == (("TIME", "T", "RH"), ("", "degC", "%"), 3)
    rows = "".join(f"2026-11-24 08:0{minute},62\n" for minute in range(5))
    told = faults_of(f"time,T\n24 November 08:00,62\n{rows}")
    assert "Line 2, column “time”: “24 November 08:00” is no time that can be read" in told[0]


def test_the_next_file_may_have_a_longer_preamble_but_no_other_columns() -> None:
    form = replace(find_form(b"time,a,b\n2026-11-24 08:00,1,2\n").form, zone="UTC")
    assert len(read_all(b"Logger\nmore\ntime,a,b\n2026-11-24 08:00,1,2\n", form)) == 2
    for other in (b"time,a,c\n2026-11-24 08:00,1,2\n", b"time,b,a\n2026-11-24 08:00,1,2\n", b"time,a\n2026-11-24,1\n"):
        with pytest.raises(OtherHeadError, match=r"head\.other"):
            read_all(other, form)


def test_a_form_is_kept_as_json_and_comes_back() -> None:
    form = find_form(b"time;channel;value;unit\n2026-11-24T08:00Z;K1.dry;62,5;C\n2026-11-24T08:00Z;K1.wet;6,5;C\n").form
    assert form.shape == "long"
    assert FileForm.from_json(form.to_json() | {"left_out": ["x"]}) == form
    for broken in ({}, {"header": []}, {"header": "time"}):
        with pytest.raises(ValueError, match="no columns"):
            FileForm.from_json(broken)


FAULTY = [
    (b"", "The file is empty"),
    (b"\xef\xbb\xbf \n", "Its only line does not hold a time"),
    (b"PK\x03\x04rest", "a workbook or a packed file"),
    (b"hello\nworld\n", "None of the first 2 lines holds a time and a value"),
    (b"time,a\n2026-11-24 08:00,1\n2026-11-24 08:01,\0\n", "NUL"),
    (
        b"time,T \xc2\xb0C\n2026-11-24 08:00,1\n2026-11-24 08:01,\xff\n",
        "Line 3: byte 48 of the file cannot be read as UTF-8",
    ),
    ("time;a\n2026-11-24 08:00;1\n".encode("utf-16")[:-1], "UTF-16"),
    (b'time,a\n2026-11-24 08:00,1\n2026-11-24 08:01,"2\n2026-11-24 08:02,3\n', "Line 3: the line cannot be read"),
    (b"time," + b",".join(b"%d" % n for n in range(1_000_000)) + b"\n", "columns, 300 are read"),
    (b"time,a,b\n2026-11-24 08:00,1,2\n2026-11-24 08:01,1", "Line 3: the last line is cut off"),
    (
        b"time,a\n1970-01-01 00:00,1\n2026-11-24 08:00,1\n",
        "Line 2, column \u201ctime\u201d: \u201c1970-01-01 00:00:00\u201d lies outside",
    ),
    (
        b"time,a\n2200-01-01 00:00,1\n2026-11-24 08:00,1\n",
        "2200-01-01 00:00:00\u201d lies outside the years 2000 to 2099",
    ),
    (b"time,a\n2027-01-01 00:00,1\n2026-11-24 08:00,1\n", "lies ahead of the present"),
    (b"time,a\n2026-11-24 08:00,1e15\n2026-11-24 08:01,1\n", "is too large for a reading"),
    (b"time,a\n2026-11-24 08:00,inf\n2026-11-24 08:01,1\n", "is too large for a reading"),
    (b"time,a\n2026-11-24 08:00,1\n2026-11-24 08:01,warm\n", "\u201cwarm\u201d is no number"),
    (b"time,a\n2026-11-24 08:00,1\n,2\n", "the time is missing"),
    (b"time,a\n2026-11-24 08:00,1\n2026-11-24 08:01,2,5\n", "this line has 3 cells, the head has 2"),
    (
        b"time,a\n2026-11-24 08:00,1\n2026-11-24 08:01,2\n2026-11-24 08:02,2\n2026-11-24 08:03,2\nEnd\n",
        "Line 6: this line has 1 cell",
    ),
    (b"time,a\n2026-11-24 08:00Z,1\n2026-11-24 08:01,2\n", "does not say its distance from UTC"),
    (b"time;channel;value\n2026-11-24 08:00;a;1\n2026-11-24 08:01;;2\n", "the name of the channel is missing"),
    (
        b"time;channel;value;unit\n2026-11-24 08:00;a;1;C\n2026-11-24 08:00;b;1;C\n2026-11-24 08:01;a;2;F\n",
        "the unit of \u201ca\u201d changes within the file",
    ),
]


@pytest.mark.parametrize(("raw", "told"), FAULTY)
def test_bad_input_is_refused_with_place_and_reason(raw: bytes, told: str) -> None:
    assert told in "\n".join(faults_of(raw))


def test_all_faults_are_told_the_first_fifty_in_words() -> None:
    rows = "".join(f"2026-11-24 08:00,x{number}\n" for number in range(80))
    told = faults_of(f"time,a,b\n2026-11-24 08:00,1,\n{rows.replace(chr(10), ',' + chr(10))}")
    assert len(told) == 51
    assert told[-1] == "And 30 more of the kind."
    assert [f"Line {number}," in line for number, line in enumerate(told[:50], 3)] == [True] * 50


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=300), st.integers(0, 80), st.integers(0, 80))
def test_whatever_the_bytes_are_there_is_a_table_or_a_refusal(noise: bytes, cut: int, at: int) -> None:
    sound = b'time;"a b";c\n2026-11-24 08:00;1,5;2\n2026-11-24 08:01;1,5;2\n2026-11-24 08:02;1,5;2\n'
    for raw in (noise, sound[:at] + noise + sound[at:], sound[cut:], sound[: -cut or None], noise + sound):
        try:
            found = find_form(raw, {"date_order": "ymd"})
            readings = read_all(raw, replace(found.form, zone=found.form.zone or "UTC"))
        except FaultyFileError as fault:
            assert fault.told()
        else:
            assert np.isfinite(readings.value).all()


def test_lines_are_counted_as_an_editor_does_where_a_cell_has_a_line_end() -> None:
    text = 'time,note,a\n2026-11-24 08:00,"two\nlines",1\n2026-11-24 08:01,"more\n\nlines",2\n2026-11-24 08:02,,x\n'
    form = FileForm(("time", "note", "a"), date_order="ymd", zone="UTC")
    with pytest.raises(FaultyFileError) as caught:
        read_all(text.encode(), form, ["a"])
    assert [(fault.line, fault.column, fault.text) for fault in caught.value.faults] == [(7, "a", "x")]


def test_columns_that_are_left_out_are_not_looked_at() -> None:
    raw = b"time,a,note\n2026-11-24 08:00,1,all well\n2026-11-24 08:01,2,x\n"
    form = replace(find_form(raw).form, zone="UTC", shape="wide")
    assert pairs(read_all(raw, form, ["a"]), "a") == [(DAY_S - 57_600, 1.0), (DAY_S - 57_540, 2.0)]


def test_names_of_a_long_file_that_nobody_knows_are_told_once_each() -> None:
    raw = (
        b"time;channel;value\n2026-11-24 08:00;a;1\n2026-11-24 08:00;b;1\n2026-11-24 08:01;a;x\n2026-11-24 08:01;b;2\n"
    )
    form = replace(find_form(raw).form, zone="UTC")
    with pytest.raises(FaultyFileError) as caught:
        read_all(raw, form, ["b"])
    assert [fault.text for fault in caught.value.faults] == ["a"]
    assert len(read_all(raw, form, ["b"], ["a"])) == 2


def test_a_large_file_is_read_with_every_value_in_its_place() -> None:
    chance = random.Random(3)
    moments = list(range(DAY_S - 60 * 30_000, DAY_S, 60))
    columns = {
        f"c{no}": [chance.choice([None, round(chance.uniform(-50, 150), 2)]) for _ in moments] for no in range(3)
    }
    raw = write_table(
        moments, columns, {}, Written(delimiter=";", decimal=",", order="dmy", time_format="%d.%m.%Y %H:%M:%S")
    )
    readings = read(raw)
    for name, values in columns.items():
        assert pairs(readings, name) == [
            (at, value) for at, value in zip(moments, values, strict=True) if value is not None
        ]


def test_channels_are_proposed_by_their_names() -> None:
    channels = [
        Candidate(1, "K1", "air_temperature", "left"),
        Candidate(2, "K1", "air_temperature", "right"),
        Candidate(3, "K1", "wet_bulb", ""),
        Candidate(4, "K2", "wet_bulb", ""),
        Candidate(5, "K1", "wood_moisture", "1"),
        Candidate(6, "K1", "wood_moisture", "12"),
        Candidate(7, "K1", "set_air_temperature", ""),
    ]

    def proposed(*names: str, hint: str = "") -> dict[str, int]:
        return {name: one.key for name, one in guess_channels(names, [""] * len(names), channels, hint).items()}

    assert proposed("K1 dry left [°C]", "Kiln 1 T right", "K1.MC12") == {
        "K1 dry left [°C]": 1,
        "Kiln 1 T right": 2,
        "K1.MC12": 6,
    }
    assert proposed("wet bulb") == {}
    assert proposed("wet bulb", hint="export_K2_2026-11") == {"wet bulb": 4}
    assert proposed("K1 wet", "K1 feucht") == {}
    assert proposed("K1 setpoint dry", "K1 remark") == {"K1 setpoint dry": 7}
    assert guess_channels(["K1 wet"], ["kW"], channels) == {}
