"""What is set aside for somebody is not taken unawares, and who loses it is told."""

from collections.abc import Iterator
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest

from inventory.actions import TakesFromOthers, count, issue, reserve, scrap
from inventory.models import Part, Reservation, StockLevel
from inventory.signals import set_aside_fell_short
from tests.factories import UserFactory
from tests.inventory.storeroom_things import keeper, kept_part, mill_today

pytestmark = pytest.mark.django_db


@pytest.fixture
def part() -> Part:
    return kept_part(on_hand=5)


@pytest.fixture
def told() -> Iterator[list[dict[str, Any]]]:
    heard: list[dict[str, Any]] = []

    def hear(sender: type, **said: Any) -> None:
        heard.append({claim.reservation.source: claim.missing for claim in said["claims"]})

    set_aside_fell_short.connect(hear)
    yield heard
    set_aside_fell_short.disconnect(hear)


def wanted(part: Part, quantity: int, source: str, days: int = 5) -> Reservation:
    return reserve(part, Decimal(quantity), mill_today() + timedelta(days=days), source, "K2: Change the wicks")


def test_what_is_free_is_taken_without_a_question(part: Part, told: list[Any]) -> None:
    wanted(part, 3, "WO-0001")
    issue(part, Decimal(2), by=keeper(), key=uuid4())
    assert told == []


def test_what_is_set_aside_is_asked_about_and_stays_meanwhile(part: Part, told: list[Any]) -> None:
    wanted(part, 3, "WO-0001")
    with pytest.raises(TakesFromOthers, match=r"WO-0001 \(K2: Change the wicks\) would lack 1") as refused:
        issue(part, Decimal(3), by=keeper(), key=uuid4(), reason="fan is loud")
    assert (list(refused.value.sources), refused.value.may_confirm) == (["WO-0001"], True)
    assert (StockLevel.objects.get().on_hand, told) == (5, [])


def test_whoever_may_takes_it_with_a_reason_and_the_loser_is_told(part: Part, told: list[Any]) -> None:
    wanted(part, 3, "WO-0001")
    with pytest.raises(TakesFromOthers, match="Say why it is taken all the same"):
        issue(part, Decimal(3), by=keeper(), key=uuid4(), take_from=["WO-0001"])
    issue(part, Decimal(3), by=keeper(), key=uuid4(), take_from=["WO-0001"], reason="K1 stands")
    assert (StockLevel.objects.get().on_hand, told) == (2, [{"WO-0001": 1}])


def test_a_confirmation_counts_only_for_those_who_were_named(part: Part) -> None:
    wanted(part, 3, "WO-0001")
    wanted(part, 2, "WO-0002")
    with pytest.raises(TakesFromOthers) as refused:
        issue(part, Decimal(4), by=keeper(), key=uuid4(), take_from=["WO-0002"], reason="K1 stands")
    assert list(refused.value.sources) == ["WO-0001", "WO-0002"]


def test_ones_own_share_is_taken_freely_but_not_that_of_an_earlier_need(part: Part) -> None:
    early, late = wanted(part, 3, "WO-0001", days=2), wanted(part, 5, "WO-0002", days=9)
    issue(part, Decimal(2), by=keeper(), key=uuid4(), reservation=late)
    with pytest.raises(TakesFromOthers, match="WO-0001"):
        issue(part, Decimal(1), by=keeper(), key=uuid4(), reservation=late)
    issue(part, Decimal(3), by=keeper(), key=uuid4(), reservation=early)


def test_a_technician_is_told_who_may(part: Part) -> None:
    wanted(part, 5, "WO-0001", days=1)
    own = wanted(part, 1, "WO-0002", days=9)
    with pytest.raises(TakesFromOthers, match="The storekeeper, a planner or the kiln master can take it") as refused:
        issue(
            part,
            Decimal(1),
            by=UserFactory(role="technician"),
            key=uuid4(),
            reservation=own,
            take_from=["WO-0001"],
            reason="now",
        )
    assert not refused.value.may_confirm


def test_what_is_spoiled_or_was_never_there_is_a_fact_of_which_the_loser_hears(part: Part, told: list[Any]) -> None:
    wanted(part, 5, "WO-0001")
    scrap(part, Decimal(1), by=keeper(), key=uuid4(), reason="rust")
    count(part, part.bin, None, Decimal(2), by=UserFactory(role="storekeeper"), key=uuid4())
    assert told == [{"WO-0001": 1}, {"WO-0001": 3}]


def test_a_second_sending_asks_nothing_any_more(part: Part, told: list[Any]) -> None:
    wanted(part, 5, "WO-0001")
    key = uuid4()
    for _time in range(2):
        issue(part, Decimal(1), by=None, key=key)
    assert (StockLevel.objects.get().on_hand, told) == (4, [{"WO-0001": 1}])
