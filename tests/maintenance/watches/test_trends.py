"""The day on which a figure's trend crosses its limit: what its bounds cover, and when it keeps silent."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from maintenance.watches.calculations.trends import Crossing, Trend, crossing

Numbers = NDArray[np.float64]
SERIES = 1000
CROSSES_ON = 120.0
FAR = 36500


def days_of(rng: np.random.Generator, charges: int = 20) -> Numbers:
    return np.cumsum(rng.uniform(2, 6, charges))


def drawn(rng: np.random.Generator, slope: float, outliers: float) -> Crossing | None:
    """Draw a series about a line that crosses its limit on a known day, and ask for that day."""
    days, noise = days_of(rng), rng.standard_normal(20)
    noise = np.where(rng.random(20) < outliers, 8 * noise, noise)
    limit = 10 + slope * CROSSES_ON if slope else 14
    return crossing(Trend("above", limit, horizon_days=FAR), days.tolist(), (10 + slope * days + noise).tolist())


@pytest.mark.parametrize("outliers", [0.0, 0.05])
@pytest.mark.parametrize("slope", [0.05, 0.1])
def test_the_bounds_cover_the_true_day_as_often_as_they_say(slope: float, outliers: float) -> None:
    rng = np.random.default_rng(int(1000 * slope + 100 * outliers))
    said = [found for found in (drawn(rng, slope, outliers) for _ in range(SERIES)) if found is not None]
    covered = np.mean([found.earliest_day <= CROSSES_ON <= found.latest_day for found in said])
    assert len(said) > 0.95 * SERIES
    assert covered == pytest.approx(0.95, abs=0.025)


def test_where_there_is_no_slope_it_seldom_speaks() -> None:
    rng = np.random.default_rng(5)
    said = sum(drawn(rng, 0.0, 0.0) is not None for _ in range(SERIES))
    # Of both sides together 5 % would, so 2.5 % towards the limit; the median of 20 is drawn in a little.
    assert said / SERIES < 0.045


def test_a_clean_line_crosses_where_it_does() -> None:
    days = [float(day) for day in range(0, 100, 5)]
    found = crossing(Trend("above", 40, horizon_days=200), days, [10 + 0.2 * day for day in days])
    assert found is not None
    assert found.day == pytest.approx(150)
    assert (found.earliest_day, found.latest_day) == pytest.approx((150, 150))
    assert (found.slope_per_day, found.now, found.is_crossed) == (pytest.approx(0.2), pytest.approx(29), False)


def test_a_limit_below_is_the_mirror_of_one_above() -> None:
    rng = np.random.default_rng(2)
    days = days_of(rng)
    values = 10 + 0.1 * days + rng.standard_normal(20)
    above = crossing(Trend("above", 25), days.tolist(), values.tolist())
    below = crossing(Trend("below", -25), days.tolist(), (-values).tolist())
    assert above is not None
    assert below is not None
    assert (below.day, below.earliest_day, below.latest_day) == pytest.approx(
        (above.day, above.earliest_day, above.latest_day)
    )


def test_one_charge_far_off_does_not_turn_the_line() -> None:
    days = [4.0 * number for number in range(20)]
    values = [10 + 0.1 * day + 0.2 * (-1) ** number for number, day in enumerate(days)]
    values[18] += 100
    found = crossing(Trend("above", 20), days, values)
    assert found is not None
    assert found.day == pytest.approx(100, rel=0.05)


def test_it_is_silent_about_few_charges_a_slope_the_other_way_and_a_far_day() -> None:
    days = [4.0 * number for number in range(20)]
    rising = [10 + 0.1 * day for day in days]
    assert crossing(Trend("above", 20, least_charges=10), days[:9], rising[:9]) is None
    assert crossing(Trend("above", 20), days, rising[::-1]) is None
    assert crossing(Trend("above", 40, horizon_days=90), days, rising) is None
    assert crossing(Trend("above", 20), [3.0] * 20, rising) is None


def test_only_the_last_charges_count() -> None:
    days = [float(number) for number in range(40)]
    values = [100 - number for number in days[:20]] + [10 + 0.5 * number for number in days[20:]]
    found = crossing(Trend("above", 40, charges=20), days, values)
    assert found is not None
    assert (found.day, found.charges) == (pytest.approx(60), 20)


@pytest.mark.parametrize(("days", "values"), [([1.0], []), ([1.0, math.nan], [1.0, 1.0]), ([2.0, 1.0], [1.0, 1.0])])
def test_series_that_make_no_sense_are_refused(days: list[float], values: list[float]) -> None:
    with pytest.raises(ValueError, match=r"figures|numbers"):
        crossing(Trend("above", 1), days, values)


@pytest.mark.parametrize(
    ("numbers", "words"), [({"limit": math.inf}, "limit inf"), ({"least_charges": 4}, "least_charges 4"),
                           ({"charges": 5}, "charges 5"), ({"confidence": 1.0}, "confidence 1")],
)  # fmt: skip
def test_numbers_that_make_no_trend_are_refused(numbers: dict[str, float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Trend(**({"side": "above", "limit": 1.0} | numbers))  # type: ignore[arg-type]
