"""Reorder advice: the Poisson law, the reorder point, the chance of running out, the words."""

import csv
import math
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.calculations.outlooks import (
    CYCLE_SERVICE,
    ExpectedDelivery,
    PartOutlook,
    PastUse,
    PlannedNeed,
    ShelfLot,
    SupplyTerms,
    spread_lead_time,
)
from inventory.calculations.reorder import reorder_advice
from plant.basics.poisson import poisson_cdf, poisson_pmf, poisson_quantile, poisson_sf
from plant.frame.saying import say

REFERENCE = Path(__file__).parents[1] / "reference" / "inventory"
TODAY = date(2026, 3, 4)


def rows(name: str) -> list[dict[str, str]]:
    with (REFERENCE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def on(days: int) -> date:
    return TODAY + timedelta(days=days)


def outlook(on_hand: str = "0", lead_time_days: float = 21, **kwargs: object) -> PartOutlook:
    shelf = (ShelfLot(Decimal(on_hand)),) if Decimal(on_hand) else ()
    part = PartOutlook(TODAY, SupplyTerms(lead_time_days), shelf)
    return replace(part, **kwargs)  # type: ignore[arg-type]


def used(per_day: float, days: int = 1000, size: str = "1") -> PastUse:
    return PastUse((Decimal(size),) * round(per_day * days), days)


# --- the Poisson law -----------------------------------------------------------------------------


@pytest.mark.parametrize("row", rows("poisson_table.csv"), ids=lambda r: f"{r['mean']}-{r['count']}")
def test_the_cumulative_law_agrees_with_printed_tables(row: dict[str, str]) -> None:
    assert poisson_cdf(int(row["count"]), float(row["mean"])) == pytest.approx(float(row["at_most"]), abs=5.1e-5)


@pytest.mark.parametrize("row", rows("palm.csv"), ids=lambda r: f"{r['pipeline_mean']}-{r['stock']}")
def test_backorders_and_waits_of_a_base_stock_agree_with_palm(row: dict[str, str]) -> None:
    mean, stock = float(row["pipeline_mean"]), int(row["stock"])
    backorders = sum(poisson_sf(count, mean) for count in range(stock, 80))
    assert backorders == pytest.approx(float(row["expected_backorders"]), rel=1e-10)
    assert poisson_cdf(stock - 1, mean) == pytest.approx(float(row["no_wait"]), abs=5.1e-7)
    if row["printed"]:
        assert backorders == pytest.approx(float(row["printed"]), abs=5.1e-4)


@pytest.mark.parametrize("row", rows("order_points.csv"), ids=lambda r: r["id"])
def test_the_exact_cost_of_reorder_point_and_quantity_agrees_with_the_textbook(row: dict[str, str]) -> None:
    per_time, holding, stockout = float(row["demand_per_time"]), float(row["holding_cost"]), float(row["stockout_cost"])
    mean, point, quantity = per_time * float(row["lead_time"]), int(row["reorder_point"]), int(row["order_quantity"])

    def cost_at(position: int) -> float:
        short = sum(poisson_sf(count, mean) for count in range(position, 80))
        return holding * (position - mean + short) + stockout * short

    ordering = float(row["fixed_cost"]) * per_time
    cost = (ordering + sum(cost_at(point + step) for step in range(1, quantity + 1))) / quantity
    assert cost == pytest.approx(float(row["cost_per_time"]), rel=1e-12)


def test_the_quantile_solves_the_newsvendor_with_poisson_demand() -> None:
    """Snyder and Shen, 2nd ed., Problem 4.8(a): mean 18, costs 200 and 270 give 19."""
    assert poisson_quantile(270 / 470, 18) == 19


@settings(max_examples=60)
@given(mean=st.integers(1, 400), count=st.integers(0, 600))
def test_the_law_agrees_with_a_sum_of_exact_fractions(mean: int, count: int) -> None:
    term = total = Fraction(1)
    for n in range(1, count + 1):
        term = term * mean / n
        total += term
    expected = math.exp(math.log(total.numerator) - math.log(total.denominator) - mean)
    assert poisson_cdf(count, mean) == pytest.approx(expected, rel=1e-11)


@pytest.mark.parametrize("mean", [0.0, 1e-9, 0.3, 49.5, 745.2, 1e6])
def test_a_quantile_is_the_least_count_that_is_enough(mean: float) -> None:
    for wanted in (0.0, 0.05, 0.5, 0.95, 0.9999):
        count = poisson_quantile(wanted, mean)
        assert poisson_cdf(count, mean) >= wanted
        assert count == 0 or poisson_cdf(count - 1, mean) < wanted


def test_a_mean_of_a_million_neither_overflows_nor_loses_digits() -> None:
    assert poisson_cdf(10**6, 1e6) == pytest.approx(0.5 + 2 / 3 / math.sqrt(2e6 * math.pi), abs=1e-9)
    assert poisson_cdf(10**6, 1e6) + poisson_sf(10**6, 1e6) == pytest.approx(1, abs=1e-12)
    assert poisson_cdf(0, 1e6) == 0


def test_the_two_ways_to_one_chance_meet() -> None:
    """The series takes over at a count of 50; the recurrence p(n) = p(n-1) m/n must not notice."""
    for mean in (30.0, 50.0, 70.0):
        assert poisson_pmf(50, mean) == pytest.approx(poisson_pmf(49, mean) * mean / 50, rel=1e-13)


@pytest.mark.parametrize("mean", [-1.0, math.nan, math.inf])
def test_a_mean_below_zero_or_without_end_is_refused(mean: float) -> None:
    with pytest.raises(ValueError, match=r"mean .* is outside 0 to infinity"):
        poisson_cdf(1, mean)


@pytest.mark.parametrize("probability", [-0.1, 1.0, math.nan])
def test_a_probability_without_a_finite_quantile_is_refused(probability: float) -> None:
    with pytest.raises(ValueError, match="is outside 0 to below 1"):
        poisson_quantile(probability, 2)


# --- the reorder point ---------------------------------------------------------------------------


def test_planned_need_and_random_use_in_the_lead_time_make_the_reorder_point() -> None:
    planned = (PlannedNeed(Decimal(12), on(10)), PlannedNeed(Decimal(6), on(21)), PlannedNeed(Decimal(50), on(22)))
    advice = reorder_advice(outlook("14", planned=planned, past_use=used(0.1)))
    assert advice.planned_in_interval == 18
    assert advice.reorder_point == 18 + poisson_quantile(CYCLE_SERVICE["slows"], 2.1)
    assert advice.order_now


def test_the_cover_is_ordered_up_to_in_whole_packs_and_not_below_the_least_order() -> None:
    terms = SupplyTerms(10, pack_size=Decimal(8), least_order=Decimal(20))
    part = outlook(planned=(PlannedNeed(Decimal(3), on(5)), PlannedNeed(Decimal(7), on(20))), terms=terms)
    assert reorder_advice(part).quantity == 24
    assert reorder_advice(replace(part, terms=replace(terms, least_order=Decimal(0)))).quantity == 16


def test_an_overdue_need_is_still_a_need() -> None:
    assert reorder_advice(outlook(planned=(PlannedNeed(Decimal(2), on(-9)),))).quantity == 2


def test_what_is_on_order_counts_and_expired_stock_does_not() -> None:
    part = outlook(
        planned=(PlannedNeed(Decimal(5), on(7)),), shelf=(ShelfLot(Decimal(3), on(-1)), ShelfLot(Decimal(2), on(0)))
    )
    assert reorder_advice(part).expired == 3
    assert reorder_advice(part).order_now
    # what expires today is fit today, and wasted on a need of next week
    assert reorder_advice(part).position == 0
    assert not reorder_advice(replace(part, deliveries=(ExpectedDelivery(Decimal(5), on(3)),))).order_now


def test_first_expired_stock_is_wasted_only_as_far_as_need_comes_too_late() -> None:
    shelf = (ShelfLot(Decimal(10), on(6)), ShelfLot(Decimal(10)))
    advice = reorder_advice(
        outlook(shelf=shelf, planned=(PlannedNeed(Decimal(4), on(5)), PlannedNeed(Decimal(9), on(15))))
    )
    assert (advice.will_expire_unused, advice.position) == (Decimal(6), Decimal(14))


def test_at_the_reorder_point_an_order_is_due_where_use_is_random() -> None:
    """Base stock S = r + 1: P(no wait) = P(X <= S - 1), so one on the shelf gives 0.98 and none gives 0."""
    seldom = used(0.001)
    assert reorder_advice(outlook("0", past_use=seldom)).order_now
    assert not reorder_advice(outlook("1", past_use=seldom)).order_now


def test_a_shelf_that_equals_a_purely_planned_need_is_enough() -> None:
    planned = (PlannedNeed(Decimal(18), on(7)),)
    assert not reorder_advice(outlook("18", planned=planned)).order_now
    assert reorder_advice(outlook("17", planned=planned)).quantity == 1


def test_a_part_never_used_and_not_planned_is_not_ordered() -> None:
    advice = reorder_advice(outlook(past_use=PastUse((), 420)))
    assert (advice.order_now, advice.reorder_point) == (False, Decimal(0))
    assert "Nothing used besides in 420 days." in say(advice.reason)


def test_the_mill_may_keep_one_of_a_part_never_used() -> None:
    advice = reorder_advice(outlook(past_use=PastUse((), 420), least_on_hand=Decimal(1)))
    assert (advice.reorder_point, advice.quantity) == (Decimal(1), Decimal(1))
    assert "The mill keeps at least 1." in say(advice.reason)


def test_what_is_fetched_the_same_day_needs_no_stock() -> None:
    advice = reorder_advice(outlook(lead_time_days=0, past_use=used(0.5)))
    assert (advice.order_now, advice.reorder_point, advice.run_out_chance) == (False, Decimal(0), 0.0)


def test_periodic_review_protects_review_and_lead_time() -> None:
    """Snyder and Shen, Example 4.4: L + 1 = 5 periods of mean 50, not 4; here with Poisson demand."""
    advice = reorder_advice(
        outlook(lead_time_days=4, review_interval_days=1, past_use=used(50), wanted_cycle_service=0.7 / 0.88)
    )
    assert advice.reorder_point == poisson_quantile(0.7 / 0.88, 250)


def test_a_spread_lead_time_raises_the_order_as_published() -> None:
    """60 a day, review 10 days, lead time 5 days sd 0.5, risk 2.5 %, 480 on hand: order 480.7.

    Spread over review and lead time (Silver, Pyke and Thomas); a stored worked solution that spreads over
    the lead time only prints 479.44. Ours spreads by whole days and takes the demand as certain (sd 2).
    """
    advice = reorder_advice(
        outlook(
            "480",
            planned=tuple(PlannedNeed(Decimal(60), on(day)) for day in range(1, 40)),
            terms=SupplyTerms(5, 0.5),
            review_interval_days=10,
            wanted_cycle_service=0.975,
            cover_days=0,
        )
    )
    assert float(advice.quantity) == pytest.approx(480.727, abs=1)
    assert advice.planned_in_interval == 900
    assert "Planned in the 10 days to the next review and the 5 days it takes to arrive: 900." in say(advice.reason)


def test_a_wide_lead_time_dominates_the_safety_stock_as_published() -> None:
    """5 a day, lead time 3 days sd 2, 95 %: reorder point 31.5, of which 16.5 for safety (printed with z = 1.65).

    Render, Stair and Hanna, Quantitative Analysis for Management, SKU M4389 (answers from memory).
    Ours moves by whole days, five pieces each.
    """
    planned = tuple(PlannedNeed(Decimal(5), on(day)) for day in range(1, 40))
    advice = reorder_advice(outlook(planned=planned, terms=SupplyTerms(3, 2)))
    assert float(advice.reorder_point) == pytest.approx(31.5, abs=5)
    assert reorder_advice(outlook(planned=planned, terms=SupplyTerms(3))).reorder_point == 15


def test_metres_are_counted_by_issues_of_their_size() -> None:
    part = outlook(
        "46", past_use=used(0.02, size="15.5"), unit_step=Decimal("0.5"), terms=SupplyTerms(21, pack_size=Decimal(25))
    )
    advice = reorder_advice(part)
    assert advice.reorder_point == Decimal("15.5") * poisson_quantile(0.95, 0.42)
    assert not advice.order_now


def test_unequal_issues_keep_their_variance() -> None:
    use = PastUse((Decimal(1), Decimal(1), Decimal(4)), 30)
    assert use.batch == 3  # 18 / 6
    assert use.batches_per_day * float(use.batch) == pytest.approx(6 / 30)
    assert use.batches_per_day * float(use.batch) ** 2 == pytest.approx(18 / 30)


def test_a_low_wanted_chance_keeps_nothing_in_reserve() -> None:
    advice = reorder_advice(outlook("3", past_use=used(0.03), wanted_cycle_service=0.4))
    assert advice.reorder_point == 0
    assert "no safety stock is kept (shown as 0)" in say(advice.reason)


# --- the chance of running out -------------------------------------------------------------------


def test_without_deliveries_the_chance_is_one_poisson_tail() -> None:
    advice = reorder_advice(outlook("8", planned=(PlannedNeed(Decimal(6), on(3)),), past_use=used(0.1)))
    assert advice.run_out_chance == pytest.approx(poisson_sf(2, 2.1))


def test_a_delivery_that_comes_after_the_need_does_not_help() -> None:
    planned = (PlannedNeed(Decimal(2), on(5)),)
    late = reorder_advice(outlook("1", planned=planned, deliveries=(ExpectedDelivery(Decimal(9), on(6)),)))
    early = reorder_advice(outlook("1", planned=planned, deliveries=(ExpectedDelivery(Decimal(9), on(4)),)))
    assert (late.run_out_chance, early.run_out_chance) == (1, 0)


def test_between_deliveries_the_chance_agrees_with_every_course_of_events_counted() -> None:
    use, deliveries = used(0.2), (ExpectedDelivery(Decimal(2), on(5)), ExpectedDelivery(Decimal(3), on(12)))
    advice = reorder_advice(outlook("3", past_use=use, deliveries=deliveries))
    lasting = sum(
        poisson_pmf(a, 1.0) * poisson_pmf(b, 1.4) * poisson_pmf(c, 1.8)
        for a in range(4)
        for b in range(6 - a)
        for c in range(9 - a - b)
    )
    assert advice.run_out_chance == pytest.approx(1 - lasting, rel=1e-9)


def test_a_late_delivery_is_not_counted_on_but_not_ordered_twice() -> None:
    advice = reorder_advice(
        outlook(planned=(PlannedNeed(Decimal(1), on(2)),), deliveries=(ExpectedDelivery(Decimal(2), on(-2), "PO-7"),))
    )
    assert advice.late[0].late_days == 2
    assert (advice.order_now, advice.run_out_chance) == (False, 1)
    assert "PO-7: 2 late by 2 days and not counted on for this chance: call the supplier." in say(advice.reason)


# --- words ---------------------------------------------------------------------------------------


def test_the_reason_names_plan_past_use_and_chance() -> None:
    advice = reorder_advice(outlook("20", planned=(PlannedNeed(Decimal(18), on(9)),), past_use=used(0.1, 420)))
    assert say(advice.reason) == (
        "Planned in the 21 days it takes to arrive: 18. Expected besides: 0 to 4 (42 issues in 420 days). "
        "At 20 the chance of running out is 35 %. Ordered at 23 or less: 20 on the shelf and fit for use."
    )


def test_an_order_that_is_coming_is_named_with_its_day() -> None:
    advice = reorder_advice(
        outlook(
            "9",
            deliveries=(ExpectedDelivery(Decimal(10), date(2026, 3, 12)),),
            past_use=used(0.3),
            terms=SupplyTerms(7),
        )
    )
    assert "10 on order, due 12 Mar 2026." in say(advice.reason)


# --- refusals and properties ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"terms": SupplyTerms(-1)}, "lead time -1 days is outside 0"),
        ({"terms": SupplyTerms(1, -1)}, "standard deviation -1 days is outside 0"),
        ({"terms": SupplyTerms(1, pack_size=Decimal(0))}, "pack size 0 must be above 0"),
        ({"unit_step": Decimal("NaN")}, "unit step NaN must be above 0"),
        ({"shelf": (ShelfLot(Decimal(-1)),)}, "quantity on the shelf -1 is below 0"),
        ({"planned": (PlannedNeed(Decimal(-1), TODAY),)}, "planned need -1 is below 0"),
        ({"wanted_cycle_service": 1.0}, r"wanted cycle service 1\.0 is outside 0 to 0\.9999"),
        ({"past_use": PastUse((Decimal(0),), 9)}, "every past issue must be above 0"),
        ({"past_use": PastUse((Decimal(1),), 0)}, "1 past issues in 0 observed days"),
    ],
)
def test_a_figure_outside_its_range_is_refused_by_name(change: dict[str, object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        reorder_advice(outlook(**change))  # type: ignore[arg-type]


@given(mean=st.floats(0, 90), sd=st.floats(0.01, 30))
def test_a_spread_lead_time_keeps_its_whole_chance(mean: float, sd: float) -> None:
    spread = spread_lead_time(mean, sd)
    assert math.fsum(chance for _, chance in spread) == pytest.approx(1)
    assert all(chance >= 0 and days >= 0 for days, chance in spread)


quantities = st.integers(0, 60).map(Decimal)
parts = st.builds(
    PartOutlook,
    today_on=st.just(TODAY),
    terms=st.builds(
        SupplyTerms,
        st.integers(0, 60),
        st.sampled_from([0, 0.5, 4]),
        st.sampled_from([Decimal(1), Decimal(5), Decimal("2.5")]),
        quantities,
    ),
    shelf=st.lists(st.builds(ShelfLot, quantities, st.none() | st.integers(-5, 90).map(on)), max_size=3).map(tuple),
    planned=st.lists(st.builds(PlannedNeed, quantities, st.integers(-9, 90).map(on)), max_size=4).map(tuple),
    deliveries=st.lists(st.builds(ExpectedDelivery, quantities, st.integers(-9, 60).map(on)), max_size=3).map(tuple),
    past_use=st.lists(st.integers(1, 8).map(Decimal), max_size=9).map(lambda issues: PastUse(tuple(issues), 90)),
    wanted_cycle_service=st.sampled_from(list(CYCLE_SERVICE.values())),
    review_interval_days=st.sampled_from([0, 7]),
)


@settings(max_examples=80, deadline=None)
@given(part=parts)
def test_an_order_brings_the_position_over_the_reorder_point_in_whole_packs(part: PartOutlook) -> None:
    advice = reorder_advice(part)
    assert 0 <= advice.run_out_chance <= 1
    assert advice.order_now == (advice.quantity > 0)
    assert advice.quantity % part.terms.pack_size == 0
    if advice.order_now:
        assert advice.quantity >= part.terms.least_order
        again = replace(part, deliveries=(*part.deliveries, ExpectedDelivery(advice.quantity, on(1))))
        assert not reorder_advice(again).order_now
    else:
        assert advice.position >= advice.reorder_point


@settings(max_examples=60, deadline=None)
@given(part=parts, more=st.integers(1, 20).map(Decimal))
def test_more_on_the_shelf_never_raises_the_chance_of_running_out(part: PartOutlook, more: Decimal) -> None:
    richer = replace(part, shelf=(*part.shelf, ShelfLot(more)))
    assert reorder_advice(richer).run_out_chance <= reorder_advice(part).run_out_chance + 1e-9
