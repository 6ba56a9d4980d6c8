"""What past charges say of the end of the one inside: mean and spread, shown with its reason, told in one tap."""

from datetime import timedelta

import pytest
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st

from plant.charges.calculations.lateness import lateness
from plant.charges.learnt import learnt, likely_end
from plant.models import Charge, ChargeWord, Kiln
from tests.factories import MONDAY, ChargeFactory, KilnFactory
from tests.plant.charges.planned import DAY, HOUR, signed_in

NOW = MONDAY + 2 * DAY
hours = st.floats(-200, 200).map(lambda one: round(one, 2))


@pytest.fixture
def kiln(monkeypatch: pytest.MonkeyPatch) -> Kiln:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)
    found: Kiln = KilnFactory(tag="K1")
    return found


def past(kiln: Kiln, *longer_h: float, species: str = "spruce", weeks_before: int = 0) -> None:
    for number, hours in enumerate(longer_h):
        begin_at = MONDAY - (number + 2) * 10 * DAY - weeks_before * 7 * DAY
        charge = ChargeFactory(kiln=kiln, basis="done", begin_at=begin_at, days=5, species=species)
        # It was planned for a day earlier: a late start is no slow drying.
        Charge.objects.filter(pk=charge.pk).update(
            planned_begin_at=begin_at - DAY, planned_end_at=charge.end_at - DAY - hours * HOUR
        )


def test_mean_and_spread_are_those_of_the_nist_handbook_s_way() -> None:
    # Sample mean and standard deviation with n - 1, NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.1 and .6;
    # the numbers are worked by hand: deviations -4, -1, 5, squares 42, over 2 is 21.
    found = lateness([2.0, 5.0, 11.0])
    assert found is not None
    assert (found.mean_h, found.charges) == (6.0, 3)
    assert found.sd_h == pytest.approx(21**0.5)


@given(st.lists(hours, min_size=3, max_size=20), st.floats(-50, 50))
def test_all_later_by_the_same_shifts_the_mean_and_leaves_the_spread(took: list[float], more: float) -> None:
    one, other = lateness(took), lateness([hour + more for hour in took])
    assert one is not None and other is not None
    assert other.mean_h - one.mean_h == pytest.approx(more, abs=1e-6)
    assert other.sd_h == pytest.approx(one.sd_h, abs=1e-6)
    assert min(took) - 1e-9 <= one.mean_h <= max(took) + 1e-9


@pytest.mark.django_db
def test_of_fewer_than_three_or_of_another_species_nothing_is_learnt(kiln: Kiln) -> None:
    inside = ChargeFactory(kiln=kiln, basis="running", begin_at=MONDAY)
    past(kiln, 3, 9)
    assert likely_end(inside, NOW) is None
    past(KilnFactory(tag="K2"), 3, 9, 6)
    past(kiln, 30, 30, 30, species="oak", weeks_before=10)
    assert learnt(inside, NOW) is None


@pytest.mark.django_db
def test_a_charge_that_started_late_is_likely_out_that_much_later_and_as_much_as_usual(kiln: Kiln) -> None:
    past(kiln, 3, 9, 6)
    inside = ChargeFactory(kiln=kiln, basis="running", begin_at=MONDAY + 7 * HOUR, days=5)
    Charge.objects.filter(pk=inside.pk).update(planned_begin_at=MONDAY, planned_end_at=MONDAY + 5 * DAY)
    inside.refresh_from_db()
    found = likely_end(inside, NOW)
    assert found is not None
    assert found.at == MONDAY + 5 * DAY + 13 * HOUR
    assert found.by.sd_h == pytest.approx(3)


@pytest.mark.django_db
def test_it_stands_on_the_page_with_its_reason_and_is_told_in_one_tap(kiln: Kiln, client: Client) -> None:
    past(kiln, 3, 9, 6)
    inside = ChargeFactory(kiln=kiln, basis="running", begin_at=MONDAY, days=5)
    page = signed_in("kiln_master")
    shown = " ".join(page.get(f"/charges/K1/{inside.pk}/").content.decode().split())
    assert "took 6.0 h longer than planned in the mean, give or take 3.0 h" in shown
    form = page.get(f"/charges/K1/{inside.pk}/expected/")
    (value, words), *_later = form.context["at_once"]
    assert words.startswith("As usual here:")
    key = form.context["form"]["key"].value()
    page.post(f"/charges/K1/{inside.pk}/expected/", {"at": "", "at_once": value, "key": str(key)})
    assert ChargeWord.objects.get().at == MONDAY + 5 * DAY + 6 * HOUR


@pytest.mark.django_db
def test_a_time_that_is_over_is_not_proposed(kiln: Kiln) -> None:
    past(kiln, -60, -61, -62)
    inside = ChargeFactory(kiln=kiln, basis="running", begin_at=MONDAY - 3 * DAY, days=5)
    assert likely_end(inside, MONDAY - 2 * DAY + timedelta(hours=1)) is not None
    assert likely_end(inside, NOW) is None
