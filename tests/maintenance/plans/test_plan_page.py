"""What a plan's page says and draws, from the plan alone."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from maintenance.frame.words import hours_words, money_words
from maintenance.models import Plan
from maintenance.placing.wishes import Price
from maintenance.plans.seen_doubt import buffer_rows, doubt_of, spread_of
from maintenance.plans.seen_plan import CHART_HEIGHT, CHART_WIDTH, MOST_STEPS, Step, chart_of, lead_words, steps_of
from maintenance.plans.seen_reason import BusyError, _one_at_a_time, price_wish, wish_of, wish_words
from maintenance.plans.standing import Standing, standing_of
from plant.models import Mill
from tests.factories import MONDAY, MillFactory, UserFactory
from tests.maintenance.placing_mill import OPENING_FROM, job, on_shift, programme
from tests.maintenance.plans_made import made_plan

NOW = MONDAY + timedelta(hours=1)


@pytest.fixture
def mill() -> Mill:
    built: Mill = MillFactory.build(currency="EUR")
    return built


def said(mill: Mill, **given: Any) -> str:
    return lead_words(Plan(**given), mill)


def test_the_sentence_says_what_a_plan_is_worth_and_how_sure_that_is(mill: Mill) -> None:
    worked = {"state": "worked_out", "cost_cents": 123_400, "bound_cents": 123_000}
    rules = {"due_date_cents": 204_600, "as_it_stood_cents": 153_500}
    assert said(mill, **worked, **rules) == (
        "All told 1,234 EUR, of which another plan could save at most 0.3 %; 812 EUR less than by due dates, "
        "301 EUR less than as it stood."
    )
    assert said(mill, **{**worked, "is_best": True}) == "All told 1,234 EUR, and no plan costs less."
    assert "nothing is proven yet" in said(mill, **{**worked, "bound_cents": 0})
    assert said(mill, **worked, due_date_cents=123_400).endswith("; just as much by due dates.")
    assert said(mill, **worked, as_it_stood_cents=123_300).endswith("; 1 EUR more than as it stood.")


def test_a_plan_under_way_or_failed_is_said_to_be_so(mill: Mill) -> None:
    assert said(mill, state="wanted") == "It waits for its turn."
    assert said(mill, state="under_way") == "It is being worked out; nothing is known yet."
    assert said(mill, state="under_way", cost_cents=5000, bound_cents=4000).startswith(
        "So far it costs 50 EUR, of which another plan could save at most"
    )
    assert "what is on record stays as it was" in said(mill, state="failed")


def test_money_and_hours_are_said_as_people_say_them(mill: Mill) -> None:
    assert (money_words(123_456, mill), money_words(345, mill), money_words(-500, mill)) == (
        "1,235 EUR",
        "3.45 EUR",
        "-5 EUR",
    )
    assert (hours_words(45), hours_words(90), hours_words(720)) == ("45 min", "1.5 h", "12 h")


def points(line: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in (pair.split(",") for pair in line.split())]


def test_the_chart_steps_from_the_dearest_at_the_top_to_the_least_at_the_bottom() -> None:
    steps = steps_of(Plan(progress=[[0.0, 10_000, 0], [5.0, 8_000, 4_000], [10.0, 8_000, 7_900]]))
    chart = chart_of(steps)
    assert chart is not None
    cost, bound = points(chart.cost), points(chart.bound)
    assert cost[0] == (0.0, 0.0) and cost[-1][0] == CHART_WIDTH
    # It is level until something better was found.
    assert (CHART_WIDTH / 2, 0.0) in cost
    assert bound[0] == (CHART_WIDTH / 2, CHART_HEIGHT)
    assert all(0 <= y <= CHART_HEIGHT for _x, y in cost + bound)
    # Words that name two lines close to each other do not lie on one another.
    assert chart.bound_label_y - chart.cost_label_y >= 15


def test_there_is_no_chart_of_a_single_moment_or_of_one_cost() -> None:
    assert chart_of([]) is None
    assert chart_of([Step(1.0, Decimal(5), None)]) is None
    assert chart_of([Step(0.0, Decimal(5), None), Step(1.0, Decimal(5), None)]) is None


def test_of_very_many_steps_some_are_left_out_but_never_the_last() -> None:
    steps = steps_of(Plan(progress=[[n, 10_000 - n, 1] for n in range(900)]))
    assert len(steps) <= MOST_STEPS + 1
    assert (steps[0].seconds, steps[-1].seconds) == (0, 899)


# --- wishes and doubt, with a plan -----------------------------------------------------------------


@pytest.fixture
def standing(db: None, monkeypatch: pytest.MonkeyPatch) -> Standing:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)
    programme()
    on_shift(skills=("mechanical", "lock-out"))
    job(number="WO-1")
    return standing_of(made_plan(UserFactory(role="planner")))


def test_a_wish_to_begin_at_a_time_is_a_wish_for_that_very_minute(standing: Standing) -> None:
    at = OPENING_FROM + timedelta(hours=3)
    minute = standing.drawn.minute(at)
    wish = wish_of(standing, "WO-1", "at", at)
    assert (wish.from_min, wish.until_min) == (minute, minute + 90)
    price = price_wish(standing, wish)
    assert price.start_min == minute
    assert wish_of(standing, "WO-1", "by", at).from_min is None
    assert wish_of(standing, "WO-1", "from", at).until_min is None


def test_one_wish_is_worked_out_at_a_time(standing: Standing, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("maintenance.plans.seen_reason.WAIT_SECONDS", 0.01)
    with _one_at_a_time, pytest.raises(BusyError):
        price_wish(standing, wish_of(standing, "WO-1", "from", OPENING_FROM + timedelta(hours=20)))


@pytest.mark.parametrize(
    ("price", "words"),
    [
        (Price(("K1",), True, 500, 500, 500, 9), "It costs exactly 5 EUR more: that is proven."),
        (Price(("K1",), True, 0, 0, 0, 9), "It costs nothing more: that is proven."),
        (Price(("K1",), True, -700, -700, -700, 9), "It saves exactly 7 EUR: that is proven."),
        (Price(("K1",), False, 100, 900, 400, 9), "It costs at most 4 EUR more than now, and at least 1 EUR."),
        (Price(("K1",), False, 0, 900, 400, 9), "It costs at most 4 EUR more than now; that it costs less was not"),
        (Price(("K1",), False, 0, 900, -400, 9), "It need cost nothing more than now;"),
    ],
)
def test_a_price_is_called_exact_only_where_it_is_proven(standing: Standing, price: Price, words: str) -> None:
    wish = wish_of(standing, "WO-1", "from", OPENING_FROM)
    mill = Mill.objects.current()
    mill.currency = "EUR"
    assert wish_words(price, standing, wish, mill)[0].startswith(words)


def test_what_moving_the_neighbours_saves_anyway_is_told_apart_from_the_wish(standing: Standing) -> None:
    price = Price(("K1", "K2"), False, 500, 500, -700, 9, moved=tuple(f"WO-{n}" for n in range(9)))
    told = " ".join(
        wish_words(price, standing, wish_of(standing, "WO-1", "from", OPENING_FROM), Mill.objects.current())
    )
    assert "K1 and K2 were placed anew with it" in told
    assert "WO-5 and 3 others move." in told
    assert "would save 12" in told


def test_a_large_mill_has_fewer_draws_and_the_same_seed_the_same_doubt(
    standing: Standing, monkeypatch: pytest.MonkeyPatch
) -> None:
    spread = spread_of(standing)
    assert (spread.share, spread.is_own) == (0.05, False)
    assert doubt_of(standing, spread) == doubt_of(standing, spread)
    assert doubt_of(standing, spread).draws == 500
    monkeypatch.setattr("maintenance.plans.seen_doubt.MOST_LOOKED_AT", 300)
    assert 50 <= doubt_of(standing, spread).draws < 500


def test_the_buffer_counts_who_locks_out_and_the_first_crew_once(standing: Standing) -> None:
    mill = Mill.objects.current()
    (row,) = buffer_rows(standing, spread_of(standing), mill, OPENING_FROM - timedelta(hours=40))
    assert row.crew == 1
    assert row.end_at == OPENING_FROM
    assert row.deviation > timedelta(hours=1)
    assert buffer_rows(standing, spread_of(standing), mill, NOW) == []
