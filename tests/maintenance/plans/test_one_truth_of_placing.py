"""What was decided about places: each once, and alike for what is offered, the day's run and a place by hand."""

from datetime import time, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from maintenance.models import Placement, WorkOrder
from maintenance.plans.by_hand import place_by_hand
from maintenance.plans.offers import Offer, offer, offers_for, times_of_kiln
from maintenance.plans.places import RulesBrokenError, pin, unpin
from maintenance.plans.placing_all import place_all
from maintenance.plans.standing import standing_for, standing_now
from plant.models import Downtime, Kiln, Person, Shift, ShiftDuty
from plant.templatetags.said import said as in_words
from tests.factories import MONDAY, DowntimeFactory, KilnFactory, UserFactory
from tests.maintenance.placing_mill import OPENING_FROM, job, on_shift, programme

pytestmark = pytest.mark.django_db
NOW = MONDAY + timedelta(hours=1)
HOUR = timedelta(hours=1)
DAY = timedelta(days=1)


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)


def offered(order: WorkOrder) -> list[Offer]:
    """What is offered for a job in the times of its kiln, those without a place left aside."""
    return [one for one in offers_for(standing_for(order, NOW), order, NOW, 20) if one.start_at]


def placed(order: WorkOrder) -> Placement | None:
    return Placement.objects.filter(work_order=order).first()


# --- downtime without a charge ---------------------------------------------------------------------


def test_a_kiln_that_stands_empty_is_an_opening() -> None:
    programme()
    on_shift()
    DowntimeFactory(start_at=OPENING_FROM, end_at=OPENING_FROM + 20 * HOUR, kind=Downtime.Kind.NO_TIMBER)
    order = job()
    found, _behind_the_last_charge = offered(order)
    assert found.time and found.time.kind == "empty"
    assert found.start_at == OPENING_FROM + HOUR
    place_all(NOW)
    assert (kept := placed(order)) and kept.start_at == OPENING_FROM + HOUR


def test_a_kiln_that_stands_with_timber_in_it_takes_only_work_beside_the_timber() -> None:
    programme()
    on_shift()
    DowntimeFactory(start_at=MONDAY, end_at=MONDAY + 2 * DAY, kind=Downtime.Kind.UNPLANNED)
    inside, beside = job(), job(needs_state="still", cost_of_delay_per_day=300, due_at=MONDAY + DAY)
    assert [one.time.kind for one in offered(inside) if one.time] == ["empty", "empty"]
    assert [one.time.kind for one in offered(beside) if one.time] == ["still", "empty", "empty"]
    with pytest.raises(RulesBrokenError, match="K1 is not open and empty"):
        place_by_hand(inside, NOW + 3 * HOUR, None, by=UserFactory(role="planner"))
    place_all(NOW)
    assert (first := placed(beside)) and first.start_at < MONDAY + 2 * DAY
    assert (second := placed(inside)) and second.start_at >= OPENING_FROM


# --- late safety work ------------------------------------------------------------------------------


def test_safety_work_is_not_put_after_its_date_while_a_place_in_time_is_free() -> None:
    programme(charges=3)
    on_shift()
    order = job(is_safety=True, safety_at=OPENING_FROM + DAY)
    late_at = OPENING_FROM + 5 * DAY + 2 * HOUR
    with pytest.raises(RulesBrokenError, match="date"):
        place_by_hand(order, late_at, None, by=UserFactory(role="planner"))
    assert placed(order) is None
    assert [one.is_late for one in offered(order)] == [False]


def test_safety_work_that_no_place_takes_in_time_is_put_late_and_warned_of_alike() -> None:
    programme(charges=3)
    on_shift()
    order = job(is_safety=True, safety_at=OPENING_FROM - DAY)
    found = offered(order)
    assert found and all(one.is_late for one in found)
    (shout,) = place_all(NOW).shouts
    assert shout.level == "alarm" and "misses its safety date" in shout.text
    unpinned = placed(order)
    assert unpinned and unpinned.start_at == found[0].start_at
    stored = place_by_hand(order, found[0].start_at or NOW, None, by=UserFactory(role="planner"))
    assert "keep K1 out of use" in in_words(stored.warnings[0])
    (shout,) = place_all(NOW).shouts
    assert shout.level == "alarm" and "is kept by hand" in shout.text


# --- a job across two shifts -----------------------------------------------------------------------


def _also_late(person: Person, start: time) -> None:
    late = Shift.objects.create(
        code=f"late {start}", name="Late", weekdays="MO,TU,WE,TH,FR,SA", start_time=start, end_time=time(22)
    )
    ShiftDuty.objects.create(person=person, shift=late, from_on=MONDAY.date() - 90 * DAY)


def test_shifts_of_one_person_that_adjoin_are_one_shift() -> None:
    programme()
    _also_late(on_shift(), time(14))
    order = job(hours=11)
    found = offered(order)[0]
    assert (found.start_at, found.end_at) == (OPENING_FROM + HOUR, OPENING_FROM + 12 * HOUR)
    place_by_hand(order, OPENING_FROM + 2 * HOUR, None, by=UserFactory(role="planner"))
    assert standing_now(NOW).failing == {}


def test_between_shifts_with_a_break_nobody_is_at_work() -> None:
    programme()
    oda = on_shift()
    _also_late(oda, time(15))
    order = job(hours=11)
    assert offered(order) == []
    with pytest.raises(RulesBrokenError):
        place_by_hand(order, OPENING_FROM + 2 * HOUR, [oda], by=UserFactory(role="planner"))


# --- what is kept by hand --------------------------------------------------------------------------


def test_a_pin_ends_with_its_time_and_the_job_is_placed_anew() -> None:
    programme()
    on_shift()
    order = job()
    place_by_hand(order, OPENING_FROM + HOUR, None, by=UserFactory(role="planner"))
    later_at = OPENING_FROM + 4 * HOUR
    (told,) = place_all(later_at).cleared
    assert (told.was_kept, told.stays, told.now_at is not None) == (True, False, True)
    order.refresh_from_db()
    assert (order.placement.is_pinned, order.placement.start_at >= later_at) == (False, True)
    assert "nobody has begun" in in_words(order.pin_lost_why)


def test_what_is_kept_by_hand_is_offered_no_other_place_before_it_may_move() -> None:
    programme(charges=3)
    on_shift()
    order = job()
    place_all(NOW)
    pin(order, by=None)
    assert offered(order) == []
    first, *_others = offers_for(standing_for(order, NOW), order, NOW, 20)
    told = f"{order.number} keeps the place that it was given by hand. To move it, let it move again first."
    assert first.why == told
    unpin(order, by=None)
    assert len(offered(order)) == 3


def test_what_is_offered_can_be_taken_by_whoever_read_the_page_some_minutes_ago(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    programme()
    on_shift()
    order = job(needs_state="any")
    (found,) = offered(order)
    assert found.start_at == NOW + timedelta(minutes=15)
    monkeypatch.setattr("plant.clock.now", lambda: NOW + timedelta(minutes=14))
    place_by_hand(order, found.start_at, None, by=UserFactory(role="planner"))
    assert (kept := placed(order)) and kept.start_at == found.start_at


# --- beyond the horizon ----------------------------------------------------------------------------


def test_an_opening_beyond_the_horizon_is_shown_and_nothing_is_offered_in_it(client: Client) -> None:
    client.force_login(UserFactory(role="planner"))
    *_others, last = programme(kiln=KilnFactory(tag="K9"), charges=16)
    on_shift()
    job(kiln=Kiln.objects.get())
    assert last.end_at > NOW + timedelta(days=Kiln.objects.get().mill.horizon_days)
    shown = client.get(reverse("maintenance:opening", args=["K9", f"after-{last.pk}"]))
    assert shown.status_code == 200
    assert (shown.context["is_beyond"], shown.context["offers"]) == (True, [])
    with pytest.raises(RulesBrokenError, match="is not in the time that is planned"):
        place_by_hand(WorkOrder.objects.get(), last.end_at + 2 * HOUR, None, by=UserFactory(role="planner"))


# --- nobody may lock out ---------------------------------------------------------------------------


def test_where_nobody_may_lock_out_that_is_said_of_every_opening_and_a_place_by_hand_is_refused() -> None:
    programme()
    on_shift(skills=("mechanical",))
    order, outside = job(), job(needs_state="any")
    openings = [one for one in times_of_kiln(standing_now(NOW), "K1", NOW) if one.serves(order)]
    told = {offer(standing_for(order, NOW), order, one, NOW).why for one in openings}
    assert told == {"Nobody on record may lock K1 out. Enter that skill for those who have it."}
    with pytest.raises(RulesBrokenError, match="Nobody who may lock K1 out is on shift"):
        place_by_hand(order, OPENING_FROM + 2 * HOUR, None, by=UserFactory(role="planner"))
    assert offered(outside)
