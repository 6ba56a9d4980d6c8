"""The law of unplanned use: sizes, undershoot, a rate that is learnt, the season, and the economic lot."""

import math
from decimal import Decimal

import numpy as np
import pytest

from inventory.calculations.lots import economic_lot, economic_order_quantity
from inventory.calculations.random_use import (
    SUPPOSED,
    Prior,
    Stretch,
    least_enough,
    pooled_prior,
    size_law,
    undershoot_law,
)
from inventory.calculations.season import YEAR_DAYS, busier_ahead
from plant.basics.poisson import poisson_quantile

ONE = Decimal(1)


@pytest.mark.parametrize(
    ("fixed_cost", "demand", "holding_cost", "lot"),
    [
        # Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed. (2019), Example 3.1, Problem 3.1, and the
        # lots of Problems 5.1 and 5.3 (figures of stockpyl 1.0.2).
        (8, 1300, 0.225, 304.0467800264368),
        (2250, 182500, 275, 1728.1098449935514),
        (50, 800, 3.1, 160.64386578049977),
        (85, 192, 0.21428571428571427, 390.281949364815),
    ],
)
def test_the_economic_lot_agrees_with_the_textbook(
    fixed_cost: float, demand: float, holding_cost: float, lot: float
) -> None:
    assert economic_order_quantity(fixed_cost, demand, holding_cost) == pytest.approx(lot, rel=1e-12)


def test_a_price_of_zero_tells_no_lot_and_shelf_life_bounds_it() -> None:
    assert economic_lot(1.0, Decimal(0), 731) == 0
    assert economic_lot(0.0, Decimal(5), 731) == 0
    assert economic_lot(1.0, Decimal("0.01"), 731, shelf_life_days=60) == 30
    with pytest.raises(ValueError, match="must be above 0"):
        economic_order_quantity(1, 1, 0)


def test_nobody_buys_for_longer_than_a_year_or_than_was_watched() -> None:
    cheap = Decimal("0.01")
    assert economic_lot(1.0, cheap, 731) == 365
    assert economic_lot(1.0, cheap, 120) == 120
    assert economic_lot(1.0, cheap, 1) == 90


@pytest.mark.parametrize(("price", "lot"), [(690, 1), (150, 2), (90, 3), (60, 4)])
def test_the_cheaper_whole_lot_is_taken(price: int, lot: int) -> None:
    """Four a year: what each whole lot costs a year, worked out one by one."""
    costs = {n: 25 * 4 / n + 0.25 * price * n / 2 for n in range(1, 10)}
    assert min(costs, key=costs.__getitem__) == lot
    assert economic_lot(4 / 365.25, Decimal(price), 731) == lot


def test_who_takes_by_twos_does_not_take_seven() -> None:
    assert len(size_law([Decimal(2)], ONE)) - 1 == 4
    assert size_law([Decimal(2)], ONE).sum() == pytest.approx(1)


@pytest.mark.parametrize("mean", [0.5, 2.0, 7.5, 30.0])
def test_single_pieces_of_a_long_record_follow_the_poisson_law(mean: float) -> None:
    """A prior that holds next to nothing beside a million issues leaves the rate known."""
    count = 100_000
    days = count / mean * 10
    stretches = [Stretch(10.0, 1.0, Decimal(0))]
    point = least_enough([ONE] * count, days, Prior(1e-6, 1e-6), stretches, ONE, ONE, 0.95)
    assert point == poisson_quantile(0.95, mean)


def test_use_over_a_time_is_negative_binomial() -> None:
    """Gamma of 3 and 100 days, 50 days: failures p = 100/150, r = 3; its cumulative law by its own recurrence."""
    term = total = (100 / 150) ** 3
    count = 0
    while total < 0.99:
        count += 1
        term *= (count + 2) / count * 50 / 150
        total += term
    # No issue seen: the prior alone, and no undershoot.
    point = least_enough([], 0, Prior(3, 100), [Stretch(50.0, 1.0, Decimal(0))], ONE, ONE, 0.99)
    assert point == count


def test_the_undershoot_agrees_with_a_walk_of_many_orders() -> None:
    sizes = size_law([Decimal(1), Decimal(2), Decimal(6)], ONE)
    rng = np.random.default_rng(5)
    under = []
    for _ in range(20_000):
        above = 7
        while above > 0:
            above -= int(rng.choice(len(sizes), p=sizes))
        under.append(-above)
    law = undershoot_law(sizes, 7)
    assert law.sum() == pytest.approx(1)
    assert np.arange(len(law)) @ law == pytest.approx(np.mean(under), abs=0.1)


def test_single_pieces_never_jump_over_the_point() -> None:
    assert undershoot_law(size_law([ONE] * 4, ONE), 5)[0] == pytest.approx(1)


def test_issues_of_several_need_more_than_the_same_use_one_by_one() -> None:
    stretches = [Stretch(21.0, 1.0, Decimal(0))]
    singly = least_enough([ONE] * 60, 730, SUPPOSED, stretches, ONE, ONE, 0.95)
    by_fives = least_enough([Decimal(5)] * 12, 730, SUPPOSED, stretches, ONE, ONE, 0.95)
    assert by_fives > singly


@pytest.mark.parametrize("lead_time_days", [0.0, 1095.0])
def test_one_single_event_and_a_lead_time_of_nothing_or_three_years_have_an_answer(lead_time_days: float) -> None:
    stretches = [Stretch(lead_time_days, 1.0, Decimal(0))]
    point = least_enough([Decimal(40)], 1, SUPPOSED, stretches, ONE, ONE, 0.99)
    assert point.is_finite()
    assert (point == 0) == (lead_time_days == 0)


def test_a_stopper_that_is_new_and_far_away_is_kept() -> None:
    assert least_enough([], 0, SUPPOSED, [Stretch(42.0, 1.0, Decimal(0))], ONE, ONE, 0.99) >= 1


def test_parts_alike_tell_of_each_other() -> None:
    assert pooled_prior(0, 0) == SUPPOSED
    busy = pooled_prior(20, 730)
    assert busy.issues / busy.days == pytest.approx((0.5 + 20) / (365 + 730))
    with pytest.raises(ValueError, match="tells nothing"):
        least_enough([], 0, Prior(0, 1), [Stretch(1.0, 1.0, Decimal(0))], ONE, ONE, 0.9)


def test_a_season_is_seen_where_there_is_one_and_nowhere_else() -> None:
    winters = [ago for year in (0, 1) for ago in np.linspace(year * YEAR_DAYS + 142, year * YEAR_DAYS + 222, 30)]
    assert busier_ahead(winters, 731, 20) < 0.6  # the busy weeks were half a year ago
    evenly = list(np.linspace(1, 730, 60))
    assert busier_ahead(evenly, 731, 20) == 1
    assert busier_ahead(winters, 300, 20) == 1
    assert math.isfinite(busier_ahead(winters, 731, 0))
