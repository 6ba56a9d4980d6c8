"""The programme as lines: a kiln a line over three weeks, charges and gaps as links, overlaps in words."""

import re
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from hypothesis import given
from hypothesis import strategies as st

from plant.charges.calculations.gaps import Gap, Held, Overlap, gaps_and_overlaps
from plant.models import Charge, Mill
from tests.factories import ChargeFactory, KilnFactory
from tests.plant.charges.planned import DAY, HOUR, NOW, field, local, signed_in


def held(key: int, begin_h: float, end_h: float, *, is_begun: bool = False, is_out: bool = False) -> Held:
    return Held(key, NOW + begin_h * HOUR, NOW + end_h * HOUR, is_begun or is_out, is_out)


def test_what_lies_between_two_charges_is_free_and_behind_the_last_all_is() -> None:
    gaps, overlaps = gaps_and_overlaps([held(1, -5, 10, is_begun=True), held(2, 16, 30), held(3, 30, 40)], NOW)
    assert gaps == [Gap(NOW + 10 * HOUR, NOW + 16 * HOUR), Gap(NOW + 40 * HOUR, None)]
    assert overlaps == []


def test_a_charge_that_should_be_out_stands_in_the_way_of_the_one_that_should_have_begun() -> None:
    gaps, overlaps = gaps_and_overlaps([held(1, -50, -8, is_begun=True), held(2, -6, 20)], NOW)
    assert overlaps == [Overlap(1, 2, NOW - 6 * HOUR, NOW)]
    # It cannot begin before now, and takes as long as ever.
    assert gaps == [Gap(NOW + 26 * HOUR, None)]


def test_one_that_was_not_begun_in_time_runs_into_the_next() -> None:
    _gaps, overlaps = gaps_and_overlaps([held(1, -6, 20), held(2, 22, 40)], NOW)
    assert overlaps == [Overlap(1, 2, NOW + 22 * HOUR, NOW + 26 * HOUR)]


def test_what_is_out_holds_nothing() -> None:
    assert gaps_and_overlaps([held(1, -9, -2, is_out=True)], NOW) == ([Gap(NOW, None)], [])


@given(st.lists(st.tuples(st.integers(0, 20), st.integers(1, 30)), max_size=8))
def test_a_programme_that_lies_ahead_is_gaps_and_charges_without_rest(drawn: list[tuple[int, int]]) -> None:
    at, charges = 0, []
    for key, (free, length) in enumerate(drawn):
        charges.append(held(key, at + free, at + free + length))
        at += free + length
    gaps, overlaps = gaps_and_overlaps(charges, NOW)
    assert overlaps == []
    free_h = sum(((gap.end_at - gap.begin_at) / HOUR for gap in gaps if gap.end_at), 0.0)
    assert free_h == sum(free for free, _length in drawn)
    assert gaps[-1] == Gap(NOW + at * HOUR, None)


@pytest.fixture
def oda(db: None) -> Any:
    with time_machine.travel(NOW, tick=False):
        KilnFactory()
        yield signed_in("planner", "oda")


def asked(client: Client, address: str = "/charges/") -> str:
    return client.get(address).content.decode()


def line(page: str) -> str:
    found = re.search(r'<svg class="line".*?</svg>\s*</div>', page, re.DOTALL)
    assert found
    return " ".join(found[0].split())


def test_each_charge_is_a_link_and_each_gap_leads_to_the_plan_with_its_begin(oda: Client) -> None:
    first, second = (ChargeFactory(kiln=KilnFactory(), begin_at=NOW + n * DAY, days=4) for n in (1, 7))
    drawn = line(asked(oda))
    assert f'<a href="{first.get_absolute_url()}" aria-label="K1, charge {first.number}, planned: spruce 50 mm' in drawn
    assert second.get_absolute_url() in drawn
    gap = next(
        one for one in re.findall(r'<a href="(/charges/plan/[^"]*)"\s+aria-label="([^"]*)"', drawn) if "2 d" in one[1]
    )
    assert "K1 is free from" in gap[1]
    page = asked(oda, gap[0].replace("&amp;", "&"))
    assert field(page, "begin_at") == local(first.end_at)


def test_a_promise_that_breaks_is_seen(oda: Client) -> None:
    ChargeFactory(kiln=KilnFactory(), begin_at=NOW + DAY, days=4, promised_at=NOW + 4 * DAY)
    assert "misses its promise" in line(asked(oda))


def test_an_overlap_is_said_in_words_beside_its_kiln(oda: Client) -> None:
    inside = ChargeFactory(kiln=KilnFactory(), begin_at=NOW - 6 * DAY, days=5, basis="running")
    ahead = ChargeFactory(kiln=inside.kiln, begin_at=NOW - DAY / 2, days=4)
    page = asked(oda)
    assert f"{ahead.number} should begin on" in page and f"but {inside.number} holds the kiln until" in page


def test_a_mill_that_goes_by_the_clock_and_a_later_charge_inside_need_no_word_that_one_is_out(oda: Client) -> None:
    early = ChargeFactory(kiln=KilnFactory(), begin_at=NOW - 6 * DAY, days=5, basis="running")
    ChargeFactory(kiln=early.kiln, begin_at=NOW - DAY / 2, days=4)
    assert "should begin on" in asked(oda)
    Mill.objects.update(charges_end_by_programme=True)
    assert "should begin on" not in asked(oda)
    Mill.objects.update(charges_end_by_programme=False)
    Charge.objects.exclude(pk=early.pk).update(basis="running")
    assert "should begin on" not in asked(oda)


def test_weeks_before_and_after_are_shown_with_what_lies_in_them(oda: Client) -> None:
    early = ChargeFactory(kiln=KilnFactory(), begin_at=NOW - 20 * DAY, days=4, basis="done")
    late = ChargeFactory(kiln=KilnFactory(), begin_at=NOW + 30 * DAY, days=4)
    page = asked(oda)
    assert early.number not in line(page) and late.number not in line(page)
    weeks = re.findall(r'href="(\?start=[^"]*)"', page)
    before, after = (line(asked(oda, f"/charges/{one.replace('&amp;', '&')}")) for one in weeks)
    assert early.number in before and late.number in after
    # What lies between is not known to that page: its gap begins with its first day.
    assert "is free from Mon" in after
    assert "The programme from" in asked(oda, "/charges/?start=9999-01-01")


def test_twenty_kilns_stand_on_a_page_and_each_is_found(oda: Client) -> None:
    for n in range(2, 25):
        KilnFactory(tag=f"K{n}")
    page = asked(oda)
    assert page.count('<svg class="line"') == 20
    assert "Page 1 of 2" in page
    assert 'id="kiln-K24"' in asked(oda, "/charges/?kiln=K24")


def test_lines_take_as_many_queries_for_many_charges_as_for_few(oda: Client) -> None:
    def queries() -> int:
        asked(oda)
        with CaptureQueriesContext(connection) as captured:
            asked(oda)
        return len(captured)

    ChargeFactory(kiln=KilnFactory(), begin_at=NOW - DAY, basis="running")
    few = queries()
    for n in range(2, 12):
        kiln = KilnFactory(tag=f"K{n}")
        for week in range(3):
            ChargeFactory(kiln=kiln, begin_at=NOW + week * 7 * DAY + timedelta(hours=n))
    assert queries() == few


def test_a_kilns_own_page_leads_to_its_charges_and_from_an_opening_to_a_plan(oda: Client) -> None:
    charge = ChargeFactory(kiln=KilnFactory(), begin_at=NOW + DAY, days=4)
    page = asked(oda, "/kilns/K1/")
    assert charge.get_absolute_url() in page and f"{charge.get_absolute_url()}change/" in page
    openings = [one for one in re.findall(r'href="(/charges/plan/[^"]*)"', page) if "from=" in one]
    begins = [field(asked(oda, one.replace("&amp;", "&")), "begin_at") for one in openings]
    assert begins[-1] == local(charge.end_at)
    looked = asked(signed_in("auditor"), "/kilns/K1/")
    assert charge.get_absolute_url() in looked and "/charges/plan/" not in looked and "change/" not in looked
