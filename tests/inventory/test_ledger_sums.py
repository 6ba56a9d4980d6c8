"""Whatever is booked, refused or sent twice: the shelf is the sum of the ledger, and never below zero."""

from collections import defaultdict
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.actions import MoveRefused, count, give_back, issue, receive, scrap, transfer
from inventory.models import Bin, Lot, Part, StockLevel, StockMove
from tests.factories import BinFactory
from tests.inventory.storeroom_things import kept_part

# Metres, so that fractions are allowed; below zero and zero are among what is tried.
AMOUNTS = st.decimals(min_value=-2, max_value=30, places=1)
KINDS = st.sampled_from(["receive", "receive into a lot", "issue", "give back", "count", "scrap", "transfer"])
STEPS = st.lists(st.tuples(KINDS, AMOUNTS, st.booleans(), st.booleans()), max_size=12)


def book(kind: str, amount: Decimal, part: Part, bins: tuple[Bin, Bin], lot: Lot | None) -> Any:
    shared: dict[str, Any] = {"by": None, "key": uuid4()}
    first, second = bins
    if kind == "receive":
        return lambda: receive(part, amount, bin=first, **shared)
    if kind == "receive into a lot":
        return lambda: receive(part, amount, bin=first, lot_code="L1", **shared)
    if kind == "issue":
        return lambda: issue(part, amount, lot=lot, **shared)
    if kind == "give back":
        return lambda: give_back(part, amount, lot=lot, bin=first, **shared)
    if kind == "count":
        return lambda: count(part, first, lot, amount, **shared)
    if kind == "scrap":
        return lambda: scrap(part, amount, bin=first, lot=lot, reason="wet", **shared)
    return lambda: transfer(part, amount, first, second, lot, **shared)


@pytest.mark.django_db
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=STEPS)
def test_the_shelf_is_the_sum_of_its_ledger(steps: list[tuple[str, Decimal, bool, bool]]) -> None:
    with transaction.atomic():
        part, other_bin = kept_part("seal", unit="m"), BinFactory(code="D1-1")
        for kind, amount, in_lot, is_sent_twice in steps:
            lot = Lot.objects.filter(part=part).first() if in_lot else None
            booking = book(kind, amount, part, (part.bin, other_bin), lot)
            rows = StockMove.objects.count()
            try:
                first = booking()
                booked = StockMove.objects.count()
                if is_sent_twice:
                    assert booking() == first
                    assert StockMove.objects.count() == booked
            except MoveRefused:
                assert StockMove.objects.count() == rows
        sums: dict[tuple[int, int | None], Decimal] = defaultdict(Decimal)
        for move in StockMove.objects.filter(part=part):
            sums[move.bin_id, move.lot_id] += move.quantity
        shelf = {(level.bin_id, level.lot_id): level.on_hand for level in StockLevel.objects.filter(part=part)}
        assert {place: total for place, total in sums.items() if total} == {p: q for p, q in shelf.items() if q}
        assert all(quantity >= 0 for quantity in shelf.values())
        transaction.set_rollback(True)
