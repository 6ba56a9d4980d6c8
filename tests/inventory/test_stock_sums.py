"""First expired, first out, and what is said where there is too little."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.calculations.stock import LotOnShelf, NotEnoughStock, Place, pick_first_expired

TODAY = date(2026, 3, 4)


def shelf_lot(bin_code: str, quantity: str, expires: int | None = None, received: int | None = None) -> LotOnShelf:
    days = [None if d is None else TODAY + timedelta(days=d) for d in (expires, received)]
    return LotOnShelf(Place("wick-300", bin_code), Decimal(quantity), *days)


def test_what_expires_first_is_taken_first_and_what_never_expires_last() -> None:
    shelf = [shelf_lot("A", "5"), shelf_lot("B", "5", expires=90), shelf_lot("C", "5", expires=30)]
    picks = pick_first_expired(shelf, "wick-300", Decimal(12), TODAY)
    assert [(pick.place.bin, pick.quantity) for pick in picks] == [
        ("C", Decimal(5)),
        ("B", Decimal(5)),
        ("A", Decimal(2)),
    ]


def test_of_lots_that_expire_alike_the_one_received_first_is_taken() -> None:
    shelf = [shelf_lot("A", "5", 30, -3), shelf_lot("B", "5", 30, -9)]
    assert [pick.place.bin for pick in pick_first_expired(shelf, "wick-300", Decimal(1), TODAY)] == ["B"]


def test_an_expired_lot_is_never_taken_and_the_refusal_says_so() -> None:
    shelf = [shelf_lot("A", "5", expires=-1), shelf_lot("B", "3", expires=0)]
    assert pick_first_expired(shelf, "wick-300", Decimal(3), TODAY)[0].place.bin == "B"
    with pytest.raises(NotEnoughStock, match=r"3 on hand in bin B \(5 more expired and must not be used\)"):
        pick_first_expired(shelf, "wick-300", Decimal(4), TODAY)


def test_an_empty_shelf_points_to_the_receipt() -> None:
    with pytest.raises(NotEnoughStock, match=r"none on hand\. Book the receipt first"):
        pick_first_expired([], "wick-300", Decimal(1), TODAY)


@pytest.mark.parametrize("quantity", ["0", "-1", "NaN"])
def test_an_issue_of_nothing_is_refused(quantity: str) -> None:
    with pytest.raises(ValueError, match="must be above 0"):
        pick_first_expired([shelf_lot("A", "5")], "wick-300", Decimal(quantity), TODAY)


lots = st.lists(
    st.builds(shelf_lot, st.sampled_from("ABCD"), st.integers(0, 9).map(str), st.none() | st.integers(-9, 9)),
    max_size=4,
    unique_by=lambda lot: lot.place,
)


@given(shelf=lots, wanted=st.integers(1, 30).map(Decimal))
def test_a_pick_is_complete_never_over_a_lot_and_independent_of_the_order(
    shelf: list[LotOnShelf], wanted: Decimal
) -> None:
    fit = {lot.place: lot.quantity for lot in shelf if lot.expires_on is None or lot.expires_on >= TODAY}
    if sum(fit.values()) < wanted:
        with pytest.raises(NotEnoughStock):
            pick_first_expired(shelf, "wick-300", wanted, TODAY)
        return
    picks = pick_first_expired(shelf, "wick-300", wanted, TODAY)
    assert sum(pick.quantity for pick in picks) == wanted
    assert all(0 < pick.quantity <= fit[pick.place] for pick in picks)
    assert len({pick.place for pick in picks}) == len(picks)
    assert picks == pick_first_expired(reversed(shelf), "wick-300", wanted, TODAY)
