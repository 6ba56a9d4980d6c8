"""The geometry of the climate chart: round ticks, thinning that keeps extremes, gaps, and figures worked out."""

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.basics.units import CELSIUS, FAHRENHEIT
from plant.physics.emc import emc_from_psychrometer_pct, emc_pct
from plant.physics.psychrometrics import relative_humidity_by_psychrometer
from plant.pictures.climate_chart.axes import ValueAxis, round_step, time_ticks, value_axis
from plant.pictures.climate_chart.bands import Shown
from plant.pictures.climate_chart.chart import draw_chart
from plant.pictures.climate_chart.drawing import HEIGHT, WIDTH, draw_line, draw_marks, draw_steps, label_spot
from plant.pictures.climate_chart.lines import Source, humidity_sources, source_of
from plant.pictures.climate_chart.table import make_table
from plant.pictures.climate_chart.thinning import Run, Span, by_column, runs, runs_by_column, thin

STOCKHOLM = ZoneInfo("Europe/Stockholm")
UNIT = ValueAxis(0, 100, (0, 50, 100))


def epoch(text: str) -> int:
    """Seconds since 1970 of a local time at the mill."""
    return int(datetime.fromisoformat(text).replace(tzinfo=STOCKHOLM).timestamp())


def series(at_s: Any, value: Any, marks: Any = None) -> Any:
    at = np.asarray(at_s, np.int64)
    return SimpleNamespace(
        at_s=at,
        value=np.asarray(value, np.float64),
        marks=np.zeros(len(at), np.int16) if marks is None else np.asarray(marks, np.int16),
    )


def source(quantity: str, at_s: Any, value: Any, place: str = "") -> Source:
    return source_of(quantity, place, 60, series(at_s, value))


# Ticks.


@pytest.mark.parametrize(
    ("low", "high", "ticks"),
    [
        (18.3, 74.2, (0, 20, 40, 60, 80)),
        (0, 100, (0, 20, 40, 60, 80, 100)),
        (59.9, 60.1, (55, 56, 57, 58, 59, 60, 61, 62, 63, 64, 65)),
        (-3.2, 4.4, (-4, -2, 0, 2, 4, 6)),
    ],
)
def test_values_have_round_ticks_around_them(low: float, high: float, ticks: tuple[float, ...]) -> None:
    found = value_axis(low, high, most=5 if high - low > 1 else 10, least_span=5 if high - low > 1 else 10)
    assert found.ticks == ticks


@given(st.floats(-1e4, 1e4), st.floats(0, 1e4), st.integers(2, 10))
@settings(max_examples=200)
def test_an_axis_holds_its_values_with_few_ticks_and_steps_of_one_two_or_five(
    low: float, span: float, most: int
) -> None:
    axis = value_axis(low, low + span, most=most, least_span=1)
    assert axis.low <= low + 1e-6 and axis.high >= low + span - 1e-6
    assert len(axis.ticks) <= most + 2
    step = axis.ticks[1] - axis.ticks[0]
    assert f"{step:e}"[0] in "125"


def test_what_is_never_negative_has_no_axis_below_zero() -> None:
    assert value_axis(0, 0.5, most=4, least_span=20, is_from_zero=True).ticks == (0, 5, 10, 15, 20)
    assert value_axis(0, 0.5, most=4, least_span=20).ticks[0] < 0


def test_what_spans_no_axis_is_refused() -> None:
    with pytest.raises(ValueError, match="span no axis"):
        value_axis(float("nan"), 3, most=5, least_span=1)


def test_a_step_is_one_two_or_five_times_a_power_of_ten() -> None:
    assert [round_step(least) for least in (0.011, 0.2, 0.21, 3, 6, 100, 101)] == [0.02, 0.2, 0.5, 5, 10, 100, 200]


def test_a_day_has_ticks_at_the_clocks_round_hours() -> None:
    ticks = time_ticks(epoch("2026-11-20T00:00"), epoch("2026-11-21T00:00"), STOCKHOLM, most=9)
    assert [tick.at.hour for tick in ticks] == [0, 3, 6, 9, 12, 15, 18, 21, 0]
    assert [tick.is_day for tick in ticks] == [True, *[False] * 7, True]


def test_the_day_on_which_summer_time_ends_has_25_hours_and_the_doubled_hour_twice() -> None:
    ticks = time_ticks(epoch("2026-10-25T00:00"), epoch("2026-10-26T00:00"), STOCKHOLM, most=30)
    assert [tick.at.hour for tick in ticks] == [0, 1, 2, 2, *range(3, 24), 0]
    assert len({tick.at_s for tick in ticks}) == 26


def test_the_day_on_which_summer_time_begins_has_no_tick_at_the_hour_that_is_skipped() -> None:
    ticks = time_ticks(epoch("2026-03-29T00:00"), epoch("2026-03-30T00:00"), STOCKHOLM, most=30)
    assert [tick.at.hour for tick in ticks] == [0, 1, *range(3, 24), 0]
    by_three = time_ticks(epoch("2026-03-29T00:00"), epoch("2026-03-30T00:00"), STOCKHOLM, most=9)
    assert [tick.at.hour for tick in by_three] == [0, 3, 6, 9, 12, 15, 18, 21, 0]


def test_days_stay_at_midnight_over_the_change_of_the_clock() -> None:
    ticks = time_ticks(epoch("2026-10-22T00:00"), epoch("2026-10-29T00:00"), STOCKHOLM, most=10)
    assert [(tick.at.day, tick.at.hour) for tick in ticks] == [(day, 0) for day in range(22, 30)]


def test_long_spans_have_mondays_and_then_first_days_of_months() -> None:
    weeks = time_ticks(epoch("2026-10-01T00:00"), epoch("2026-11-20T00:00"), STOCKHOLM, most=8)
    assert {tick.at.weekday() for tick in weeks} == {0}
    months = time_ticks(epoch("2025-03-10T00:00"), epoch("2026-11-20T00:00"), STOCKHOLM, most=12)
    assert {tick.at.day for tick in months} == {1}
    assert 5 <= len(months) <= 12


@given(st.integers(1_600_000_000, 1_900_000_000), st.integers(600, 5 * 365 * 86_400), st.integers(3, 14))
@settings(max_examples=60)
def test_ticks_lie_inside_in_order_and_never_too_many(from_s: int, length_s: int, most: int) -> None:
    ticks = time_ticks(from_s, from_s + length_s, STOCKHOLM, most=most)
    at = [tick.at_s for tick in ticks]
    assert at == sorted(set(at))
    assert all(from_s <= one <= from_s + length_s for one in at)
    assert len(at) <= most + 2


# Thinning.


def test_a_spike_of_one_reading_is_kept() -> None:
    at = np.arange(0, 864_000, 60)
    value = np.full(len(at), 60.0)
    value[7000] = 93.0
    found = thin(at, value, Span(0, 864_000), gap_s=180)
    assert len(found) == 600
    assert found.high.max() == 93.0
    assert found.column[np.argmax(found.high)] == 7000 * 60 * 600 // 864_000


@given(
    st.lists(st.tuples(st.integers(1, 4000), st.floats(-50, 200)), min_size=1, max_size=200),
    st.integers(1, 40),
)
@settings(max_examples=100)
def test_every_column_keeps_its_lowest_and_its_highest_reading(steps: list[tuple[int, float]], columns: int) -> None:
    at = np.cumsum([step for step, _ in steps])
    value = np.array([one for _, one in steps])
    span = Span(0, int(at[-1]) + 1, columns)
    low, high = by_column(thin(at, value, span, gap_s=2000), span)
    column = span.columns_of(at)
    for one in range(columns):
        inside = value[column == one]
        if len(inside):
            assert (low[one], high[one]) == (inside.min(), inside.max())


def test_a_line_is_broken_where_readings_are_missing_and_nowhere_else() -> None:
    at = np.concatenate((np.arange(0, 3600, 60), np.arange(7200, 10_800, 60)))
    found = thin(at, np.full(len(at), 5.0), Span(0, 10_800), gap_s=180)
    assert found.at_s[found.begins].tolist() == [0.0, 7200.0]
    line = draw_line(found, Span(0, 10_800), UNIT)
    assert line.path.count("M") == 2
    assert not line.lone


def test_a_gap_narrower_than_a_column_still_breaks_the_line() -> None:
    at = np.concatenate((np.arange(0, 432_000, 60), np.arange(432_600, 864_000, 60)))
    found = thin(at, np.full(len(at), 5.0), Span(0, 864_000), gap_s=180)
    assert found.begins.sum() == 2


def test_a_column_between_two_readings_of_a_slow_sensor_keeps_the_last_and_a_gap_stays_empty() -> None:
    span = Span(0, 600, 10)
    low, high = by_column(thin(np.array([0, 200, 500]), np.array([1.0, 2.0, 3.0]), span, gap_s=250), span)
    assert low[:8].tolist() == [1, 1, 1, 2, *[pytest.approx(np.nan, nan_ok=True)] * 4]
    assert low[8] == high[8] == 3


def test_what_lies_outside_only_carries_the_line_to_the_edge() -> None:
    found = thin(np.array([0, 60, 120, 180, 240]), np.array([9.0, 1, 2, 3, 9]), Span(60, 180, 4), gap_s=180)
    assert found.column.tolist() == [-1, 0, 2, 4]
    empty = thin(np.empty(0, np.int64), np.empty(0), Span(0, 60), gap_s=180)
    assert len(empty) == 0
    assert draw_line(empty, Span(0, 60), UNIT).path == ""


def test_a_span_without_length_is_refused() -> None:
    with pytest.raises(ValueError, match="nothing to show"):
        Span(60, 60)


def test_a_value_holds_until_the_next_reading_but_not_over_a_gap_nor_into_what_nobody_knows() -> None:
    at = np.array([0, 60, 120, 180, 900, 960])
    value = np.array([1.0, 1, -1, -1, -1, -1])
    span = Span(0, 1200, 12)
    found = runs(at, value, span, gap_s=300, known_until_s=1100)
    assert found == [Run(0, 120, 1.0), Run(120, 480, -1.0), Run(900, 1100, -1.0)]
    low, high = runs_by_column(found, span)
    assert (low[1], high[1]) == (-1, 1)
    assert np.isnan(low).tolist() == [column in (5, 6, 7, 8, 11) for column in range(12)]


# Drawing.


def test_a_line_runs_from_the_upper_left_to_the_lower_right() -> None:
    span = Span(0, 600, 600)
    line = draw_line(thin(np.array([0, 300, 600]), np.array([100.0, 50, 0]), span, gap_s=400), span, UNIT)
    assert line.path == f"M0 0l{WIDTH // 2} {HEIGHT // 2} {WIDTH // 2} {HEIGHT // 2}"


def test_a_lone_reading_between_gaps_is_a_dot() -> None:
    span = Span(0, 600, 600)
    line = draw_line(thin(np.array([300]), np.array([100.0]), span, gap_s=60), span, UNIT)
    assert (line.path, line.lone) == ("", f"M{WIDTH // 2} 0h0")


def test_steps_are_joined_where_one_run_follows_another() -> None:
    span = Span(0, 1200)
    drawn = draw_steps([Run(0, 600, 100.0), Run(600, 900, 0.0), Run(1000, 1300, 0.0)], span, UNIT)
    assert drawn.path == f"M0 0H600V{HEIGHT}H900M1000 {HEIGHT}H1200"


def test_marked_readings_off_the_axis_lie_on_its_edge_and_many_alike_are_one_dot() -> None:
    at = np.arange(0, 60)
    assert draw_marks(at, np.full(60, 1e6), Span(0, 60_000), UNIT) == "M1 0h0"


def test_a_letter_stands_on_its_line() -> None:
    span = Span(0, 600, 600)
    thinned = thin(np.arange(0, 601, 60), np.full(11, 25.0), span, gap_s=180)
    assert label_spot(thinned, span, UNIT, 0.5) == (0.5, 0.75)
    assert label_spot(thin(np.empty(0, np.int64), np.empty(0), span, 180), span, UNIT, 0.5) is None


# What readings tell together.


def test_marked_readings_are_kept_apart_from_the_line() -> None:
    found = source_of("wet_bulb", "left", 60, series([0, 60, 120], [50, 99, 50], [0, 1, 0]))
    assert found.value.tolist() == [50, 50]
    assert found.marked_value.tolist() == [99]
    assert found.marks.tolist() == [1]


def test_a_psychrometer_tells_emc_humidity_and_depression() -> None:
    pair = [source("air_temperature", [0, 60], [60, 61], "left"), source("wet_bulb", [0, 60], [50, 50], "left")]
    emc, rh, depression = (humidity_sources(pair, measure)[0] for measure in ("emc", "rh", "depression"))
    assert emc.value == pytest.approx(emc_from_psychrometer_pct([60, 61], [50, 50]))
    assert (emc.quantity, emc.place, emc.worked_out_from) == ("emc", "left", "wet_bulb")
    assert emc_pct([60, 61], rh.value / 100) == pytest.approx(emc.value)
    assert depression.value.tolist() == [10, 11]


def test_a_wet_bulb_goes_with_the_thermometer_beside_it_else_with_the_mean() -> None:
    left, right = source("air_temperature", [0], [60], "left"), source("air_temperature", [0], [70], "right")
    beside = humidity_sources([left, right, source("wet_bulb", [0], [50], "right")], "depression")
    alone = humidity_sources([left, right, source("wet_bulb", [0], [50], "middle")], "depression")
    assert (beside[0].value.tolist(), alone[0].value.tolist()) == ([20], [15])


def test_a_plate_and_a_humidity_sensor_are_shown_as_they_are_and_turned_into_one_another() -> None:
    air, plate = source("air_temperature", [0], [60]), source("emc", [0], [10.001])
    assert [one.value.tolist() for one in humidity_sources([air, plate], "emc")] == [[10.001]]
    assert humidity_sources([air, plate], "rh")[0].value == pytest.approx([65], abs=0.02)
    sensor = source("relative_humidity", [0], [65])
    assert humidity_sources([air, sensor], "emc")[0].value == pytest.approx([10.0], abs=0.01)


def test_pairs_that_no_air_has_and_stale_temperatures_give_nothing() -> None:
    air = source("air_temperature", [0], [60])
    assert humidity_sources([air, source("wet_bulb", [0], [70])], "emc") == []
    assert humidity_sources([air, source("wet_bulb", [600], [50])], "emc") == []
    assert humidity_sources([air, source("emc", [0], [34])], "rh") == []
    assert humidity_sources([source("wet_bulb", [0], [50])], "emc") == []


def test_a_day_in_utc_is_no_day_at_the_mill() -> None:
    midnight = datetime(2026, 11, 20, tzinfo=UTC)
    ticks = time_ticks(int(midnight.timestamp()), int((midnight + timedelta(days=1)).timestamp()), STOCKHOLM, most=2)
    assert [tick.at.hour for tick in ticks] == [12, 0]


# The table.


def test_a_table_has_means_and_extremes_between_round_instants() -> None:
    from_s, until_s = epoch("2026-11-20T05:50"), epoch("2026-11-20T08:00")
    at = np.arange(from_s, until_s, 60)
    value = 60 + (at - from_s) / 600
    table = make_table([source("air_temperature", at, value)], Span(from_s, until_s), Shown(), STOCKHOLM)
    assert table.begins_s[:2] == (from_s, from_s + 120)
    column = table.columns[0]
    assert (column.low[0], column.high[0], column.mean[0]) == (60, 60.1, 60.05)
    in_f = make_table([source("air_temperature", at, value)], Span(from_s, until_s), Shown(FAHRENHEIT), STOCKHOLM)
    assert in_f.columns[0].low[0] == 140


def test_rows_without_readings_stay_empty_and_what_is_told_on_change_is_held() -> None:
    from_s, until_s = epoch("2026-11-20T00:00"), epoch("2026-11-24T00:00")
    air = source("air_temperature", [from_s, until_s - 60], [60, 70])
    wanted = source("set_air_temperature", [from_s], [65])
    table = make_table([air, wanted], Span(from_s, until_s), Shown(), STOCKHOLM)
    measured, told = table.columns
    assert np.isfinite(measured.mean).sum() == 2
    assert told.mean[0] == 65
    assert np.isnan(told.mean[-1])


# The chart as a whole.


def drawn(*sources: Source, hours: float = 2, shown: Shown | None = None) -> Any:
    from_s = epoch("2026-11-20T06:00")
    span = Span(from_s, from_s + int(hours * 3600))
    return draw_chart(sources, span, shown or Shown(), STOCKHOLM, span.until_s)


def two_hours(value: float) -> tuple[Any, Any]:
    at = epoch("2026-11-20T06:00") + 60 * np.arange(120)
    return at, np.full(120, float(value))


def test_the_bands_hold_what_the_kiln_measures_and_what_follows_from_it() -> None:
    chart = drawn(
        source("air_temperature", *two_hours(60), "left"),
        source("wet_bulb", *two_hours(50), "left"),
        source("fan_direction", *two_hours(1)),
        source("wood_moisture", np.empty(0), np.empty(0), "3"),
    )
    assert [band.code for band in chart.bands] == ["temperatures", "humidity", "direction"]
    assert [line.name for line in chart.bands[0].lines] == ["air temperature left", "wet-bulb temperature left"]
    assert [(line.letter, line.hue, line.dash) for line in chart.bands[0].lines] == [
        ("a", "timber", 0),
        ("b", "steam", 1),
    ]
    assert chart.bands[1].lines[0].name == "EMC left, from the psychrometer"
    assert chart.bands[1].lines[0].last == "8.9 %"
    assert chart.bands[2].lines[0].last == "from the left"
    assert chart.silent == ("wood moisture 3",)
    assert "air temperature left 60.0 to 60.0 °C" in chart.bands[0].sentence


def test_units_change_what_is_written_and_never_what_is_kept() -> None:
    pair = (source("air_temperature", *two_hours(60)), source("wet_bulb", *two_hours(50)))
    warm = drawn(*pair, shown=Shown(FAHRENHEIT, "depression"))
    assert [line.last for line in warm.bands[0].lines] == ["140.0 °F", "122.0 °F"]
    assert (warm.bands[1].title, warm.bands[1].lines[0].last) == ("Wet-bulb depression", "18.0 °F")
    humid = drawn(*pair, shown=Shown(CELSIUS, "rh"))
    by_equation = 100 * float(relative_humidity_by_psychrometer(60, 50))
    assert (humid.bands[1].title, humid.bands[1].lines[0].last) == ("Relative humidity", f"{by_equation:.1f} %")


def test_a_script_gets_for_each_column_the_lowest_and_how_far_the_highest_is_above() -> None:
    at, value = two_hours(60)
    value[10] = 75.5
    line = drawn(source("air_temperature", at, value)).data["lines"][0]
    column = 10 * 60 * 600 // 7200
    assert (line["low"][column], line["rise"][column], line["decimals"]) == (755, 0, 1)
    assert len(line["low"]) == len(line["rise"]) == 600
    assert line["low"][column + 1] == 755
    assert line["low"][column + 5] == 600


def test_what_has_a_mark_is_drawn_apart_and_counted_with_its_reason() -> None:
    at, value = two_hours(60)
    marks = np.zeros(120, np.int16)
    marks[5:8], value[5:8] = 4, 999
    chart = drawn(source_of("air_temperature", "", 60, series(at, value, marks)))
    line = chart.bands[0].lines[0]
    assert (chart.readings, chart.marked) == (120, 3)
    assert (line.marked, line.marked_why) == (3, "the value stands still: 3")
    assert line.marks.startswith("M") and line.last == "60.0 °C"
    assert chart.bands[0].ticks[-1].word == "66"


def test_only_marked_readings_make_a_band_too() -> None:
    at, value = two_hours(999)
    chart = drawn(source_of("air_temperature", "", 60, series(at, value, np.ones(120))))
    assert chart.bands[0].lines[0].marks
    assert chart.bands[0].lines[0].last == ""


def test_days_in_short_show_their_range_around_the_mean() -> None:
    from_s = epoch("2026-09-01T00:00")
    noon = from_s + 43_200 + 86_400 * np.arange(60)
    days = Source(
        *("air_temperature", "", "", noon, np.full(60, 50.0), 130_000, np.empty(0, np.int64), np.empty(0)),
        marks=np.empty(0, np.int16),
        low=np.full(60, 40.0),
        high=np.full(60, 70.0),
    )
    chart = draw_chart([days], Span(from_s, from_s + 60 * 86_400), Shown(), STOCKHOLM, from_s + 61 * 86_400)
    line = chart.bands[0].lines[0]
    assert line.ranges.count("z") == 60
    assert "40.0 to 70.0 °C" in chart.bands[0].sentence
