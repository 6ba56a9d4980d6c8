"""Places that no longer hold: marked wherever people look, with why, and cleared up by the day's run."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory.actions.reserving import reserve
from maintenance.day.run import run_day
from maintenance.models import KilnStop, PlaceLook, Placement, WorkOrder, WorkPart
from maintenance.plans import places_now
from maintenance.plans.places import pin
from maintenance.plans.places_now import LOOK_AT_PLACES_TASK, failing_places, look_at_places, places_that_fail
from maintenance.plans.placing_all import place_all
from maintenance.plans.standing import forget
from plant.background.running import run_job
from plant.basics.sentences import typed
from plant.charges.shifting import Shift, shift_charges
from plant.models import Absence, Change, Charge, Job, Mill, Person, Qualification
from plant.templatetags.said import said as in_words
from tests.factories import MONDAY, DowntimeFactory, KilnFactory, PartFactory, UserFactory
from tests.maintenance.day.test_papers import pages_of
from tests.maintenance.mill import BACKEND
from tests.maintenance.placing_mill import OPENING_FROM, OPENING_TO, job, on_shift, programme

pytestmark = pytest.mark.django_db
NOW = MONDAY + timedelta(hours=1)


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)


@pytest.fixture
def placed() -> WorkOrder:
    """A job in the opening on Friday, with Oda, who locks out as well, and Per beside her."""
    programme()
    on_shift()
    on_shift("per")
    order = job()
    place_all(NOW)
    order.refresh_from_db()
    assert failing_places(NOW).why == {}
    return order


def crew(order: WorkOrder) -> Person:
    return order.assignments.get().person


def kiln_is_stopped_then(order: WorkOrder) -> None:
    WorkOrder.objects.filter(pk=order.pk).update(needs_state="running")
    DowntimeFactory(kiln=order.kiln, start_at=NOW - timedelta(hours=1), end_at=None)


def charge_moves(order: WorkOrder) -> None:
    shift_charges(
        order.kiln,
        {order.placement.after_charge_id: Shift(interrupted_at=NOW, longer=timedelta(days=2))},
        why=typed("fog"),
        by=None,
    )


def person_is_absent(order: WorkOrder) -> None:
    Absence.objects.create(person=crew(order), start_at=OPENING_FROM, end_at=OPENING_TO + timedelta(days=3))


def skill_is_lost(order: WorkOrder) -> None:
    Qualification.objects.filter(person=crew(order)).delete()


def part_is_missing(order: WorkOrder) -> None:
    aside = reserve(PartFactory(), 2, NOW.date(), order.number, "wick", by=None)
    WorkPart.objects.create(work_order=order, part=aside.part, quantity=2, reservation=aside)


def nobody_locks_out_in_time(order: WorkOrder) -> None:
    Placement.objects.filter(work_order=order).update(start_at=OPENING_FROM, end_at=OPENING_FROM + timedelta(hours=1.5))
    KilnStop.objects.all().delete()


@pytest.mark.parametrize(
    ("what_happens", "why"),
    [
        (kiln_is_stopped_then, "not running"),
        (charge_moves, "open and empty"),
        (person_is_absent, ""),
        (skill_is_lost, ""),
        (part_is_missing, "Waits for"),
        (nobody_locks_out_in_time, "open and empty"),
    ],
)
def test_a_place_that_no_longer_holds_is_told_with_why(
    placed: WorkOrder, what_happens: Callable[[WorkOrder], None], why: str
) -> None:
    what_happens(placed)
    forget()

    found = failing_places(NOW)

    assert why in found.of(placed.number) and found.of(placed.number)
    assert found.as_of is None


def told_later(order: WorkOrder) -> tuple[str, dict[str, str]]:
    charge = order.placement.after_charge
    at = f"{(charge.end_at + timedelta(days=2)).astimezone(order.kiln.mill.zone):%Y-%m-%dT%H:%M}"
    return f"/charges/{order.kiln.tag}/{charge.pk}/expected/", {"at": at, "key": str(uuid4())}


def planned_into_the_opening(order: WorkOrder) -> tuple[str, dict[str, str]]:
    said = {"kiln": order.kiln.tag, "number": "26-900", "species": "larch", "thickness_mm": "50", "volume_m3": "20"}
    said |= {"initial_mc_pct": "60", "final_mc_pct": "12", "key": str(uuid4()), "seen": ""}
    begin_at = OPENING_FROM.astimezone(order.kiln.mill.zone)
    said |= {"begin_at": f"{begin_at:%Y-%m-%dT%H:%M}", "end_at": f"{begin_at + timedelta(days=3):%Y-%m-%dT%H:%M}"}
    return "/charges/plan/", said


@pytest.mark.parametrize("changed", [told_later, planned_into_the_opening])
def test_whoever_changes_the_programme_is_told_at_once_which_jobs_lose_their_place(
    placed: WorkOrder, client: Client, changed: Callable[[WorkOrder], tuple[str, dict[str, str]]]
) -> None:
    client.force_login(UserFactory(username="ilse", role="kiln_master"), backend=BACKEND)
    client.get("/charges/")
    address, said = changed(placed)
    answer = client.post(address, said, follow=True)
    if not answer.redirect_chain:
        assert not answer.context["form"].errors
        seen = answer.context["form"].data["seen"]
        answer = client.post(address, {**said, "seen": seen}, follow=True)

    page = answer.content.decode()
    assert f'1 job lost its place: <a href="{placed.get_absolute_url()}">{placed}</a> (' in page
    assert "open and empty" in page


def test_who_may_not_see_work_is_not_told_of_it(placed: WorkOrder, monkeypatch: pytest.MonkeyPatch) -> None:
    charge_moves(placed)
    forget()
    user = UserFactory(username="ilse", role="kiln_master")
    assert [one.url for one in places_that_fail([placed.kiln], user)] == [placed.get_absolute_url()]
    assert places_that_fail([KilnFactory(tag="K9")], user) == []
    monkeypatch.setattr(type(user), "may", lambda user, act: act != "see work")
    assert places_that_fail([placed.kiln], user) == []


def test_every_page_and_paper_gives_the_same_reason(placed: WorkOrder, client: Client) -> None:
    person_is_absent(placed)
    forget()
    why = failing_places(NOW).of(placed.number)
    client.force_login(UserFactory(role="planner", person=crew(placed)))
    on = placed.placement.start_at.astimezone(Mill.objects.get().zone).date()
    placed.refresh_from_db()

    for address in (f"/my-work/?day={on}", f"/my-work/week/?week={on}", placed.get_absolute_url(), "/openings/?days=7"):
        text = client.get(address).content.decode()
        assert "no longer holds" in text and why in text, address
    for address in (f"/openings/day-sheet.pdf?day={on}", f"/work-orders/{placed.number}/sheet.pdf"):
        words = " ".join(" ".join(pages_of(client, address)).split())
        assert "no longer holds" in words and why in words, address


def test_a_job_in_hand_is_not_marked(placed: WorkOrder) -> None:
    WorkOrder.objects.update(state=WorkOrder.State.UNDER_WAY)
    person_is_absent(placed)
    forget()

    assert failing_places(NOW).why == {}


def test_the_days_run_gives_another_place_and_says_so(placed: WorkOrder) -> None:
    was_at = placed.placement.start_at
    person_is_absent(placed)
    forget()

    summary = run_day()

    placed = WorkOrder.objects.get()
    assert crew(placed).code == "per" or placed.placement.start_at != was_at
    assert failing_places(NOW).why == {}
    said = in_words(summary.cleared)
    assert said.startswith(f"{placed.number} lost its ") and " on Fri 6 Mar" in said
    assert "It is placed on " in said or "Others do it" in said
    assert f" > {said}" in summary.lines()


def test_the_days_run_takes_a_place_away_where_there_is_no_other_and_says_so(placed: WorkOrder) -> None:
    Qualification.objects.filter(skill__code="mechanical").delete()
    forget()

    said = in_words(run_day().cleared)

    assert said.endswith("It has none now.") and not Placement.objects.exists()


def test_a_place_given_by_hand_stays_and_is_shouted_about(placed: WorkOrder) -> None:
    pin(placed, by=UserFactory(role="planner"))
    nobody_locks_out_in_time(placed)
    forget()

    summary = run_day()

    assert Placement.objects.get().start_at == OPENING_FROM
    (shout,) = [one for one in summary.shouts if one["number"] == placed.number]
    assert "keeps" in in_words(shout["said"]) and summary.cleared == []
    assert placed.number in failing_places(NOW).why


def test_the_answer_is_kept_until_something_is_recorded(placed: WorkOrder) -> None:
    failing_places(NOW)
    with CaptureQueriesContext(connection) as queries:
        failing_places(NOW)
    # How many there are, what the background found, and the last entry in the history.
    assert len(queries) == 3


def first_look() -> int:
    forget()
    with CaptureQueriesContext(connection) as queries:
        failing_places(NOW)
    return len(queries)


def test_the_first_look_takes_no_more_queries_for_many_jobs(placed: WorkOrder) -> None:
    person_is_absent(placed)
    few = first_look()
    for n in range(6):
        programme(kiln=KilnFactory(tag=f"L{n}"))
        order = job(kiln=KilnFactory(tag=f"L{n}"))
        Placement.objects.create(work_order=order, start_at=OPENING_FROM, end_at=OPENING_FROM + timedelta(hours=1.5))

    assert first_look() == few
    assert len(failing_places(NOW).why) == 7


# --- large mills: the background looks -------------------------------------------------------------------


@pytest.fixture
def large(placed: WorkOrder, monkeypatch: pytest.MonkeyPatch) -> WorkOrder:
    monkeypatch.setattr(places_now, "MOST_AT_ONCE", 0)
    return placed


def look_in_background() -> None:
    run_job(Job.objects.filter(what=LOOK_AT_PLACES_TASK).latest("pk").pk)


def test_no_page_of_a_large_mill_waits_for_the_look(large: WorkOrder, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(places_now, "standing_now", None)
    assert failing_places(NOW).why == {}
    failing_places(NOW)
    assert Job.objects.filter(what=LOOK_AT_PLACES_TASK).count() == 1


def test_a_large_mill_says_as_of_when_where_something_was_recorded_since(large: WorkOrder) -> None:
    person_is_absent(large)
    forget()
    failing_places(NOW)
    look_in_background()
    found: Any = failing_places(NOW)
    assert found.of(large.number) and found.as_of is None

    pin(large, by=UserFactory(role="planner"))

    found = failing_places(NOW)
    assert found.as_of == NOW and "As of " in found.of(large.number)
    look_in_background()
    assert failing_places(NOW).as_of is None
    assert look_at_places(NOW) == 1 and PlaceLook.objects.count() == 1


def test_which_jobs_would_lose_their_place_is_said_before_a_charge_is_moved_and_nothing_is_kept_by_it(
    placed: WorkOrder, client: Client
) -> None:
    WorkOrder.objects.update(is_safety=True)
    ahead = Charge.objects.get(basis=Charge.Basis.PLANNED)
    client.force_login(UserFactory(role="planner"), backend=BACKEND)
    before = (ahead.begin_at, Change.objects.count(), Job.objects.count())
    earlier = timezone.localtime(OPENING_FROM + timedelta(minutes=30))
    page = client.get(f"/charges/{placed.kiln.tag}/{ahead.pk}/change/", {"from": earlier.isoformat()})
    shown = " ".join(page.content.decode().split())
    assert "1 job loses its place" in shown and placed.number in shown and "safety" in shown
    ahead.refresh_from_db()
    assert (ahead.begin_at, Change.objects.count(), Job.objects.count()) == before
    # What was only tried is forgotten: the place holds.
    assert failing_places(NOW).why == {}
