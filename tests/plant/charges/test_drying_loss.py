from datetime import UTC, datetime, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.basics.periods import Period
from plant.charges.calculations.downtime import Downtime, DowntimeKind
from plant.charges.calculations.drying_loss import (
    Bridge,
    ChargeAcross,
    CompletedCharge,
    DryingRate,
    PlannedCharge,
    Product,
    bridge,
    charge_from_records,
    drying_rate,
    product_stretches,
)
from plant.charges.calculations.time_account import Split, TimeAccount
from tests.plant.availability.reliability_cases import formulas

SPRUCE, OAK = Product("spruce", 50), Product("oak", 27)
PLAN = PlannedCharge(Decimal(100), Decimal(200))
START_AT = datetime(2026, 1, 5, tzinfo=UTC)


def after(hours: int) -> datetime:
    return START_AT + timedelta(hours=hours)


def charge(product: Product, volume_m3: str, able_h: int) -> CompletedCharge:
    return CompletedCharge(product, Decimal(volume_m3), Fraction(able_h))


def rate(m3_per_h: Fraction | int) -> DryingRate:
    return DryingRate(Fraction(m3_per_h), 0, 0, Fraction(0), Fraction(0))


def test_without_history_the_rate_is_that_of_the_plan() -> None:
    found = drying_rate(SPRUCE, [], PLAN)
    assert found == DryingRate(Fraction(1, 2), 0, 0, Fraction(0), Fraction(0))


def test_without_charges_of_the_product_the_rate_is_that_of_the_kiln() -> None:
    # Three charges weigh as much as the plan: halfway between 1 and 0.5 m3/h.
    found = drying_rate(OAK, [charge(SPRUCE, "100", 100)] * 3, PLAN)
    assert (found.m3_per_h, found.kiln_weight) == (Fraction(3, 4), Fraction(1, 2))


def test_three_charges_of_the_product_weigh_half() -> None:
    history = [charge(SPRUCE, "100", 100)] * 3
    found = drying_rate(SPRUCE, history, PLAN)
    assert found.m3_per_h == (1 + Fraction(3, 4)) / 2
    assert (found.own_weight, found.kiln_weight) == (Fraction(1, 2), Fraction(1, 4))


def test_a_long_history_outweighs_the_plan() -> None:
    found = drying_rate(SPRUCE, [charge(SPRUCE, "100", 100)] * 300, PLAN)
    assert abs(found.m3_per_h - 1) < Fraction(1, 1000)


def test_an_unknown_product_takes_the_rate_of_the_kiln() -> None:
    history = [charge(SPRUCE, "90", 100), charge(OAK, "30", 300)]
    assert drying_rate(None, history, PLAN).product_charges == 0
    assert drying_rate(None, history, PLAN).m3_per_h == Fraction(2, 5) * Fraction(120, 400) + Fraction(3, 5) / 2


def test_the_hours_of_a_charge_leave_out_stops_slowing_and_time_without_timber() -> None:
    downtime = [
        Downtime(1, after(0), after(10), DowntimeKind.NO_TIMBER),
        Downtime(1, after(20), after(30), DowntimeKind.UNPLANNED),
        Downtime(1, after(50), after(70), DowntimeKind.UNPLANNED, 250),
    ]
    found = charge_from_records(SPRUCE, Decimal(90), after(0), after(200), downtime)
    assert found is not None
    assert found.able_h == 200 - 10 - 10 - 5


def test_a_charge_without_able_hours_gives_no_rate() -> None:
    downtime = [Downtime(1, after(0), None, DowntimeKind.UNPLANNED)]
    assert charge_from_records(SPRUCE, Decimal(90), after(0), after(200), downtime) is None


def test_the_bridge_leads_from_could_dry_to_dried() -> None:
    # AF-06: IAEA PRIS, energy availability factor with m3 for energy: (REG - PEL - UEL - XEL) / REG; numbers ours.
    split = Split(able_s=900 * 3600, planned_s=60 * 3600, unplanned_s=30 * 3600, no_timber_s=10 * 3600)
    found = bridge([(TimeAccount(split, split), rate(1))])
    assert (found.outside_m3, found.under_way_m3, found.pace_m3) == (0, 0, 0)
    assert found == Bridge(
        could_dry_m3=Decimal(1000),
        no_timber_m3=Decimal(10),
        planned_m3=Decimal(60),
        stopped_m3=Decimal(30),
        dried_m3=Decimal(900),
    )
    assert found.dried_m3 / found.could_dry_m3 == Decimal(formulas()["AF-06"]["computed"])
    assert found.lost_to_downtime_m3 == 90


def test_slowing_costs_its_equivalent_hours() -> None:
    split = Split(slowed_s=80 * 3600, slowed_unplanned_ms=80 * 3600 * 250)
    assert bridge([(TimeAccount(split, split), rate(Fraction(1, 2)))]).slowed_m3 == 10


def test_what_was_counted_as_dried_leaves_the_rest_to_pace() -> None:
    split = Split(able_s=100 * 3600)
    found = bridge([(TimeAccount(split, split), rate(1))], Decimal("92.5"))
    assert (found.could_dry_m3, found.pace_m3, found.dried_m3) == (Decimal(100), Decimal("7.5"), Decimal("92.5"))


def test_what_came_from_outside_is_a_step_of_its_own() -> None:
    # AF-06, with its term XEL for losses outside the plant's control: ten hours of power cut, 20 h at half the heat.
    split = Split(able_s=70 * 3600, slowed_s=20 * 3600, external_s=10 * 3600, slowed_external_ms=20 * 3600 * 500)
    found = bridge([(TimeAccount(split, split), rate(2))])
    assert (found.could_dry_m3, found.outside_m3, found.lost_to_downtime_m3, found.dried_m3) == (200, 40, 0, 160)


def hours_across(volume_m3: int, before: int, within: int, after_h: int, *, is_out: bool) -> ChargeAcross:
    return ChargeAcross(Decimal(volume_m3), before * 3600 * 1000, within * 3600 * 1000, after_h * 3600 * 1000, is_out)


def test_charges_under_way_at_the_ends_are_not_taken_for_a_kiln_that_dries_fast_or_slowly() -> None:
    # By hand: 1 m3/h, 240 h. In comes a charge of 100 m3 with 80 of its 100 h behind it; it is out after 20 h. The next
    # one, of 100 m3 too, takes 100 h, out at 120 h; the third needs 200 h for 150 m3 and has dried 120 h of them.
    split = Split(able_s=240 * 3600)
    ends = [hours_across(100, 80, 20, 0, is_out=True), hours_across(150, 0, 120, 80, is_out=False)]
    found = bridge([(TimeAccount(split, split), rate(1))], Decimal(200), ends)
    # Brought out: 200, of which 80 had dried before; the third has dried 150 x 120 / 200 = 90, which are still inside.
    assert found.under_way_m3 == 90 - 80
    # What is left is the third charge alone: 120 h at 1 m3/h would be 120, it did 90. Without the step it were 40.
    assert (found.pace_m3, found.dried_m3) == (30, 200)


def test_a_slow_month_that_brings_out_an_old_charge_was_not_a_fast_one() -> None:
    # By hand: 100 h at 1 m3/h. A charge of 100 m3 has 90 of its 110 h behind it and comes out after 20 h; then the kiln
    # takes 80 h for what usually takes 40: 40 m3 of a charge of 100 that needs 200 h. Counted by what came out it dried
    # 100 in 100 h, exactly as usual; in truth 100 x 20/110 + 40 = 58.2.
    split = Split(able_s=100 * 3600)
    ends = [hours_across(100, 90, 20, 0, is_out=True), hours_across(100, 0, 80, 120, is_out=False)]
    found = bridge([(TimeAccount(split, split), rate(1))], Decimal(100), ends)
    assert found.under_way_m3 == Decimal("-41.818")
    assert found.pace_m3 == Decimal("41.818")


def test_a_charge_that_lies_over_the_whole_period_brings_nothing_out_and_still_dries() -> None:
    split = Split(able_s=100 * 3600)
    found = bridge([(TimeAccount(split, split), rate(1))], Decimal(0), [hours_across(300, 100, 100, 100, is_out=False)])
    assert (found.under_way_m3, found.pace_m3, found.dried_m3) == (100, 0, 0)


@pytest.mark.parametrize(("hours", "message"), [((-1, 0, 0), "is negative"), ((1, 1, 1), "has 3600000 ms after")])
def test_a_charge_across_that_cannot_be_is_refused(hours: tuple[int, int, int], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        hours_across(100, *hours, is_out=True)


@pytest.mark.parametrize(("dried_m3", "message"), [("-1", "is negative"), ("1.0001", "finer than a thousandth")])
def test_a_dried_volume_that_cannot_be_is_refused(dried_m3: str, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        bridge([], Decimal(dried_m3))


@pytest.mark.parametrize(("volume_m3", "able_h"), [("-1", 10), ("1", 0)])
def test_a_charge_that_cannot_be_is_refused(volume_m3: str, able_h: int) -> None:
    with pytest.raises(ValueError, match=r"negative|not above 0"):
        charge(SPRUCE, volume_m3, able_h)


def test_a_plan_without_duration_is_refused() -> None:
    with pytest.raises(ValueError, match="not above 0"):
        PlannedCharge(Decimal(100), Decimal(0))


SECONDS = st.integers(0, 10**7)
SPLITS = st.builds(Split, SECONDS, SECONDS, SECONDS, SECONDS, SECONDS, external_s=SECONDS)
RATES = st.fractions(0, 5, max_denominator=997).map(rate)
PARTS = st.lists(st.tuples(SPLITS.map(lambda split: TimeAccount(split, split)), RATES), max_size=5)


@given(PARTS, st.none() | st.decimals(0, 10**6, places=3))
@settings(max_examples=100, deadline=None)
def test_the_parts_of_a_bridge_add_up_to_the_thousandth(
    parts: list[tuple[TimeAccount, DryingRate]], dried_m3: Decimal | None
) -> None:
    found = bridge(parts, dried_m3)
    losses = (found.no_timber_m3, found.outside_m3, found.planned_m3, found.stopped_m3, found.slowed_m3)
    assert found.could_dry_m3 - sum(losses) - found.pace_m3 == found.dried_m3
    assert all(loss >= 0 and loss == loss.quantize(Decimal("0.001")) for loss in losses)


@given(PARTS, PARTS)
@settings(max_examples=30, deadline=None)
def test_bridges_of_several_kilns_add_up(
    first: list[tuple[TimeAccount, DryingRate]], second: list[tuple[TimeAccount, DryingRate]]
) -> None:
    total = bridge(first) + bridge(second)
    losses = total.no_timber_m3 + total.outside_m3 + total.lost_to_downtime_m3
    assert total.dried_m3 == total.could_dry_m3 - losses
    assert total + Bridge() == total


def test_the_wait_before_a_charge_belongs_to_its_product() -> None:
    period = Period(after(0), after(100))
    stretches = product_stretches(period, [(after(40), SPRUCE), (after(130), OAK)])
    assert [(s.period.start_at, s.period.end_at, s.product) for s in stretches] == [
        (after(0), after(40), SPRUCE),
        (after(40), after(100), OAK),
    ]


def test_after_the_last_charge_the_product_is_unknown() -> None:
    stretches = product_stretches(Period(after(0), after(100)), [(after(40), SPRUCE), (after(-5), OAK)])
    assert [stretch.product for stretch in stretches] == [SPRUCE, None]


@given(st.lists(st.integers(-50, 150), max_size=6))
@settings(max_examples=60, deadline=None)
def test_stretches_touch_and_fill_the_period(unloaded_h: list[int]) -> None:
    period = Period(after(0), after(100))
    stretches = product_stretches(period, [(after(hours), SPRUCE) for hours in unloaded_h])
    edges = [stretch.period.start_at for stretch in stretches] + [stretches[-1].period.end_at]
    assert (edges[0], edges[-1]) == (period.start_at, period.end_at)
    assert [stretch.period.end_at for stretch in stretches] == edges[1:]
