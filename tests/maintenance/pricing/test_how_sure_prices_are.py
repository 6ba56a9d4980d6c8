"""A price is split in what physics says at least, what the mill's charges tell, and what is assumed."""

from decimal import Decimal

import pytest

from maintenance.losses.longer_drying import TimedCharge, longer_since
from maintenance.losses.price_of_waiting import KINDS
from maintenance.losses.waiting_drying import ColdSide, LessAir, WarmWetBulb
from maintenance.losses.waiting_heat import BarePipe, DoorGap, SteamLeak
from maintenance.losses.waiting_loss import Bound, Grounds, Worth, price, to_the_cent

WORTH = Worth(Decimal("0.08"), Decimal(45), Decimal(14))
ON_RECORD = frozenset({"hot_h_per_day", "vented_anyway_pct"})
# The defect that steered a plan: a measured gap, and a guess that a charge takes 8 % longer.
SEAL = DoorGap(gap_mm=8, gap_height_m=1.2, longer_drying_pct=8)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("is_measured", [True, False])
def test_the_three_parts_add_up_to_the_price(kind: str, is_measured: bool) -> None:
    grounds = Grounds(is_measured, ON_RECORD, {"longer_drying_pct": 4, "kiln_m3_per_day": 9})
    found = price(KINDS[kind](), WORTH, grounds)
    assert found.sure.total == found.cost_per_day
    assert min(found.sure.physics, found.sure.experience, found.sure.assumption) >= 0


@pytest.mark.parametrize("kind", KINDS)
def test_what_nobody_measured_is_no_lower_bound(kind: str) -> None:
    found = price(KINDS[kind](), WORTH)
    assert found.sure.assumption == found.cost_per_day and found.bound is not Bound.LOWER


def test_a_guess_that_charges_take_longer_is_no_part_of_at_least() -> None:
    found = price(SEAL, WORTH, Grounds(True, ON_RECORD))
    without = price(DoorGap(gap_mm=8, gap_height_m=1.2), WORTH, Grounds(True, ON_RECORD))
    assert found.sure.physics == without.cost_per_day == without.sure.physics
    assert found.sure.assumption == found.timber_cost_per_day
    assert found.sure.assumption > Decimal("0.9") * found.sure.total
    assert found.bound is Bound.ESTIMATE and without.bound is Bound.LOWER


def test_how_often_the_flaps_are_open_is_a_guess_where_no_record_tells() -> None:
    found = price(SEAL, WORTH, Grounds(is_measured=True))
    assert not found.sure.physics


def test_what_the_mills_charges_tell_is_its_own_experience() -> None:
    grounds = Grounds(True, ON_RECORD, {"longer_drying_pct": 5, "kiln_m3_per_day": 9})
    found = price(SEAL, WORTH, grounds)
    assert found.sure.experience == found.timber_cost_per_day and found.sure.charges == 5
    assert not found.sure.assumption
    typed_rate = price(SEAL, WORTH, Grounds(True, ON_RECORD, {"longer_drying_pct": 5}))
    assert not typed_rate.sure.experience


@pytest.mark.parametrize("terms", [SteamLeak(), ColdSide(), LessAir(), WarmWetBulb()])
def test_an_upper_bound_or_an_estimate_is_never_called_at_least(terms: object) -> None:
    found = price(terms, WORTH, Grounds(is_measured=True))  # type: ignore[arg-type]
    assert not found.sure.physics and found.bound is not Bound.LOWER


@pytest.mark.parametrize("hot", [5.0, 24.0])
@pytest.mark.parametrize("emissivity", [0.1, 0.8, 0.95])
def test_physics_never_says_more_than_any_truth_that_the_guesses_allow(hot: float, emissivity: float) -> None:
    sure = price(BarePipe(hot_h_per_day=24, emissivity=0.8), WORTH, Grounds(True, frozenset({"hot_h_per_day"}))).sure
    truth = price(BarePipe(hot_h_per_day=24, emissivity=emissivity), WORTH).cost_per_day
    assert sure.physics <= truth
    guessed = price(BarePipe(hot_h_per_day=hot), WORTH, Grounds(is_measured=True)).sure
    assert not guessed.physics


def test_money_is_rounded_once_at_the_end() -> None:
    """0.1 kWh at 0.0843 and 0.001 m3 at 45.55 are 0.00843 and 0.04555: 0.05 together, not 0.01 and 0.05."""
    assert to_the_cent(Decimal("0.1") * Decimal("0.0843") + Decimal("0.001") * Decimal("45.55")) == Decimal("0.05")
    found = price(SEAL, Worth(Decimal("0.0843"), Decimal("45.55"), Decimal(14)))
    assert found.cost_per_day == found.kwh_per_day * Decimal("0.0843") + found.m3_per_day * Decimal("45.55")


def charges(product: str, before: list[float], since: list[float]) -> list[TimedCharge]:
    return [TimedCharge(product, hours, False) for hours in before] + [
        TimedCharge(product, hours, True) for hours in since
    ]


def test_charges_since_are_compared_with_those_of_the_same_timber() -> None:
    """By hand: 110 + 110 + 330 hours against 100 + 100 + 300 is 10 % longer."""
    told = longer_since(charges("spruce", [100] * 3, [110] * 2) + charges("oak", [290, 300, 310], [330]))
    assert told is not None
    assert (told.longer_pct, told.since, told.before) == (10.0, 3, 6)


@pytest.mark.parametrize(("before", "since"), [([100] * 2, [110] * 5), ([100] * 5, [110] * 2), ([], [])])
def test_few_charges_tell_nothing(before: list[float], since: list[float]) -> None:
    assert longer_since(charges("spruce", before, since)) is None


def test_charges_that_took_no_longer_say_so() -> None:
    told = longer_since(charges("spruce", [100] * 4, [97] * 4))
    assert told is not None and told.longer_pct == 0
