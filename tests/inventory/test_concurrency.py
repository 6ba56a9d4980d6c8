"""Two people at the shelf at once: run where rows are locked, on PostgreSQL."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from decimal import Decimal
from threading import Barrier
from uuid import uuid4

import pytest
from django.db import connection
from django.db.models import Sum

from inventory.actions import MoveRefused, draw_up_orders, issue, receive, reserve, take_back
from inventory.advice import refresh_advice
from inventory.models import PurchaseOrderLine, ReorderAdvice, StockLevel, StockMove
from tests.inventory.storeroom_things import kept_part, mill_today, wanted_part

pytestmark = [
    pytest.mark.postgresql,
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite lets one writer in at a time"),
]
PEOPLE = 8


def all_at_once(act: Callable[[int], object]) -> list[object]:
    """Let several threads begin at the same moment; a refusal is an answer."""
    gate = Barrier(PEOPLE)

    def run(number: int) -> object:
        try:
            gate.wait(timeout=30)
            return act(number)
        except MoveRefused:
            return "refused"
        finally:
            connection.close()

    with ThreadPoolExecutor(PEOPLE) as people:
        return list(people.map(run, range(PEOPLE)))


def test_the_last_pieces_go_to_as_many_as_there_are() -> None:
    part = kept_part(on_hand=5)
    answers = all_at_once(lambda _n: issue(part, Decimal(1), by=None, key=uuid4()))
    assert answers.count("refused") == PEOPLE - 5
    assert StockLevel.objects.get().on_hand == 0
    assert StockMove.objects.filter(kind="issue").aggregate(all=Sum("quantity"))["all"] == -5


def test_the_same_form_sent_by_impatient_fingers_books_once() -> None:
    part, key = kept_part(on_hand=5), uuid4()
    answers = all_at_once(lambda _n: [move.pk for move in issue(part, Decimal(2), by=None, key=key)])
    assert len({str(answer) for answer in answers}) == 1
    assert StockLevel.objects.get().on_hand == 3


def test_a_wrong_booking_is_taken_back_by_one_of_those_who_saw_it() -> None:
    part = kept_part(on_hand=5)
    (wrong,) = issue(part, Decimal(2), by=None, key=uuid4())
    answers = all_at_once(lambda _n: take_back(wrong, by=None, key=uuid4(), reason="wrong part"))
    assert answers.count("refused") == PEOPLE - 1
    assert StockLevel.objects.get().on_hand == 5


def test_no_receipt_is_lost_beside_issues() -> None:
    part = kept_part(on_hand=PEOPLE)

    def move(number: int) -> object:
        if number % 2:
            return receive(part, Decimal(3), by=None, key=uuid4())
        return issue(part, Decimal(1), by=None, key=uuid4())

    assert "refused" not in all_at_once(move)
    expected = PEOPLE + PEOPLE // 2 * 3 - PEOPLE // 2
    assert StockLevel.objects.get().on_hand == expected
    assert StockMove.objects.aggregate(all=Sum("quantity"))["all"] == expected


def test_a_part_received_for_the_first_time_by_several_has_one_level() -> None:
    part = kept_part()
    assert "refused" not in all_at_once(lambda _n: receive(part, Decimal(1), by=None, key=uuid4()))
    assert StockLevel.objects.get().on_hand == PEOPLE


def test_setting_aside_does_not_wait_for_a_move() -> None:
    part = kept_part(on_hand=PEOPLE)

    def either(number: int) -> object:
        if number % 2:
            return reserve(part, Decimal(1), mill_today() + timedelta(days=3), f"WO-{number:04d}")
        return issue(part, Decimal(1), by=None, key=uuid4())

    assert "refused" not in all_at_once(either)


def test_orders_drawn_up_by_several_at_once_order_once() -> None:
    wanted_part()
    answers = all_at_once(lambda _n: draw_up_orders(mill_today(), None))
    assert sum(len(answer.lines) for answer in answers if answer != "refused") == 1  # type: ignore[attr-defined]
    assert PurchaseOrderLine.objects.count() == 1


def test_a_part_that_several_advise_on_for_the_first_time_has_one_advice() -> None:
    part = kept_part(on_hand=2)
    all_at_once(lambda _n: refresh_advice(mill_today(), [part]))
    assert ReorderAdvice.objects.get().on_hand == 2
