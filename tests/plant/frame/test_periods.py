from datetime import UTC, date, datetime

import pytest

from plant.basics.periods import CalendarUnit, Period, calendar_periods, from_epoch_s, to_epoch_s


def test_an_instant_without_time_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="has no time zone"):
        to_epoch_s(datetime(2026, 1, 1))


def test_seconds_and_instants_are_inverse() -> None:
    assert from_epoch_s(to_epoch_s(datetime(2026, 3, 29, 1, tzinfo=UTC))) == datetime(2026, 3, 29, 1, tzinfo=UTC)


def test_a_period_that_ends_before_its_start_is_refused() -> None:
    with pytest.raises(ValueError, match="before its start"):
        Period(datetime(2026, 1, 2, tzinfo=UTC), datetime(2026, 1, 1, tzinfo=UTC))


# Changes of clocks: tz database.
@pytest.mark.parametrize(
    ("zone", "day_on", "length_h"),
    [
        ("Europe/Stockholm", date(2026, 3, 29), 23),
        ("Europe/Stockholm", date(2026, 10, 25), 25),
        ("America/New_York", date(2026, 3, 8), 23),
        ("Australia/Lord_Howe", date(2026, 4, 5), 24.5),
        ("Africa/Cairo", date(2026, 4, 24), 23),
        ("UTC", date(2028, 2, 29), 24),
    ],
)
def test_a_local_day_has_the_hours_its_clocks_give_it(zone: str, day_on: date, length_h: float) -> None:
    (day,) = calendar_periods(CalendarUnit.DAY, day_on, day_on, zone)
    assert (day.end_s - day.start_s) / 3600 == length_h


@pytest.mark.parametrize(
    ("unit", "labels"),
    [
        (CalendarUnit.WEEK, ["2025-W52", "2026-W01"]),
        (CalendarUnit.MONTH, ["2025-12", "2026-01"]),
        (CalendarUnit.YEAR, ["2025", "2026"]),
    ],
)
def test_whole_periods_are_listed_and_touch(unit: CalendarUnit, labels: list[str]) -> None:
    first, second = calendar_periods(unit, date(2025, 12, 28), date(2026, 1, 4), "Europe/Stockholm")
    assert [first.label, second.label] == labels
    assert first.end_at == second.start_at


def test_an_unknown_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="'Mars/Olympus' is unknown"):
        calendar_periods(CalendarUnit.DAY, date(2026, 1, 1), date(2026, 1, 1), "Mars/Olympus")


def test_a_last_day_before_the_first_is_refused() -> None:
    with pytest.raises(ValueError, match="lies before first day"):
        calendar_periods(CalendarUnit.DAY, date(2026, 1, 2), date(2026, 1, 1), "UTC")
