"""Another place for a job, asked for from the board and stored; a plan on the board; two plans side by side."""

from datetime import time, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from maintenance.board.comparing import compare
from maintenance.models import Plan, WorkOrder
from maintenance.plans.accepting import want_plan
from maintenance.plans.by_hand import place_by_hand
from maintenance.plans.places import set_pinned
from maintenance.plans.placing_all import place_all
from maintenance.plans.standing import standing_now, standing_of
from plant.models import Person, Shift, ShiftDuty
from tests.factories import MONDAY, KilnFactory, PersonFactory, UserFactory
from tests.maintenance.placing_mill import OPENING_FROM, job, on_shift, programme
from tests.maintenance.plans_made import made_plan
from tests.pages import markup

pytestmark = pytest.mark.django_db
NOW = MONDAY + timedelta(hours=1)
AT = OPENING_FROM + timedelta(hours=3)


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)


@pytest.fixture
def planner(client: Client) -> Client:
    client.force_login(UserFactory(role="planner"))
    return client


@pytest.fixture
def oda() -> Person:
    programme(charges=3)
    return on_shift()


@pytest.fixture
def order(oda: Person) -> WorkOrder:
    placed = job()
    place_by_hand(placed, AT, [oda], by=None)
    set_pinned(placed, False, by=None)
    return placed


def _text(response: Any) -> str:
    assert response.status_code == 200, response.status_code
    return markup(response)


def ask(client: Client, **query: Any) -> str:
    return _text(client.get(reverse("maintenance:verdict"), query))


def plan_of() -> Plan:
    return made_plan(UserFactory(role="planner"), name="Wednesday's")


# --- the verdict ----------------------------------------------------------------------------------


def test_a_place_that_fits_says_who_when_and_what_it_costs(planner: Client, order: WorkOrder) -> None:
    text = ask(planner, job=order.number, start=(AT + timedelta(hours=1)).isoformat())
    assert 'data-fits="yes"' in text and "Fri 6 Mar 11:00–12:30: fits." in text
    # Everybody knows the place on record: to move it costs.
    assert "The whole plan costs 15 EUR more." in text and "places that move" in text
    assert "Oda <span" in text and "Oda, to begin Fri 6 Mar" in text
    assert "Place it here" in text
    assert WorkOrder.objects.get(pk=order.pk).placement.start_at == AT


def test_a_place_that_breaks_rules_names_them_and_what_would_fit_nearby(planner: Client, order: WorkOrder) -> None:
    text = ask(planner, job=order.number, start="2026-03-04T10:00")
    assert 'data-fits="no"' in text and "Wed 4 Mar 10:00–11:30: does not fit" in text
    assert '<ul class="faults">' in text
    assert "Nearby it would fit:" in text


def test_a_job_without_a_place_can_be_asked_about(planner: Client, oda: Person) -> None:
    text = ask(planner, job=job().number, start=AT.isoformat(), people=[oda.pk])
    assert "fits." in text and f'value="{oda.pk}" checked' in text


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"job": "WO-9999"}, "No job has this number"),
        ({"job": ""}, "Say which job is meant"),
        ({"job": "\0"}, "Null characters are not allowed"),
        ({"start": ""}, "Say when it is to begin."),
        ({"start": "soon"}, "Say when it is to begin, as day and time"),
        ({"start": "9" * 400}, "Say when it is to begin, as day and time"),
        ({"start": "0001-01-01T00:00"}, "The year 1 cannot be meant"),
        ({"start": "2200-01-01T00:00Z"}, "The year 2200 cannot be meant"),
        ({"people": "999999"}, "Nobody has the number 999999"),
        ({"people": "x"}, "nobody&#x27;s number"),
        ({"people": "9" * 60}, "Nobody has the number"),
        ({"plan": "77"}, "There is no such plan"),
        ({"plan": "9" * 60}, "There is no such plan"),
        ({"plan": "x"}, "There is no such plan"),
        ({"version": "9" * 60}, "less than or equal"),
    ],
)
def test_what_cannot_be_meant_is_said_in_words(
    planner: Client, order: WorkOrder, wrong: dict[str, str], said: str
) -> None:
    text = ask(planner, **{"job": order.number, "start": AT.isoformat(), **wrong})
    assert said in text


@pytest.mark.parametrize("start", ["1970-01-01T00:00", "2150-12-31T23:59", "2026-02-01T10:00", "2026-03-06T02:30"])
def test_times_that_nobody_works_are_faults_and_no_crash(planner: Client, order: WorkOrder, start: str) -> None:
    assert 'data-fits="no"' in ask(planner, job=order.number, start=start)


def test_a_job_that_is_over_is_no_part_of_the_plan(planner: Client, order: WorkOrder) -> None:
    done = job(state="done")
    text = ask(planner, job=done.number, start=AT.isoformat())
    assert "is not part of the plan" in text and "Place it here" not in text


def test_a_plan_that_is_not_worked_out_is_said(planner: Client, order: WorkOrder) -> None:
    plan = want_plan(name="tomorrow", seconds=2, by=UserFactory(role="planner"))
    assert "“tomorrow” is not worked out yet." in ask(planner, job=order.number, start=AT.isoformat(), plan=plan.pk)


def test_whoever_may_look_may_ask_but_not_place(client: Client, order: WorkOrder) -> None:
    client.force_login(UserFactory(role="technician"))
    text = ask(client, job=order.number, start=AT.isoformat())
    assert "fits." in text and "Place it here" not in text
    url = reverse("maintenance:put-on-board", args=[order.number])
    assert client.post(url, {"start": AT.isoformat(), "version": 0}).status_code == 403


def test_a_verdict_asks_the_database_as_much_for_many_jobs_as_for_few(
    planner: Client, order: WorkOrder, oda: Person, django_assert_num_queries: Any, django_assert_max_num_queries: Any
) -> None:
    later = (AT + timedelta(hours=1)).isoformat()
    ask(planner, job=order.number, start=later)
    with django_assert_max_num_queries(14) as captured:
        ask(planner, job=order.number, start=later)
    few = len(captured)
    for n in range(8):
        programme(kiln=KilnFactory(tag=f"L{n}"))
        job(kiln=KilnFactory(tag=f"L{n}"))
    place_all(NOW)
    ask(planner, job=order.number, start=later)
    with django_assert_num_queries(few):
        ask(planner, job=order.number, start=later)


# --- stored ---------------------------------------------------------------------------------------


def put(client: Client, order: WorkOrder, htmx: bool = True, **said: Any) -> Any:
    facts = {"start": "2026-03-06T11:00", "version": WorkOrder.objects.get(pk=order.pk).version, **said}
    headers = {"HX-Request": "true"} if htmx else {}
    return client.post(reverse("maintenance:put-on-board", args=[order.number]), facts, headers=headers)


def test_a_place_that_fits_is_stored_and_kept(planner: Client, order: WorkOrder) -> None:
    answer = put(planner, order, days="3", **{"from": "2026-03-06"})
    assert answer["HX-Redirect"] == f"/openings/?days=3&mark={order.number}&start=2026-03-06"
    place = WorkOrder.objects.get(pk=order.pk).placement
    assert (place.start_at, place.is_pinned) == (AT + timedelta(hours=1), True)
    assert f"{order.number} has its place, Fri 6 Mar, 11:00, and keeps it." in _text(planner.get("/openings/"))


def test_without_scripts_it_is_stored_as_well(planner: Client, order: WorkOrder) -> None:
    assert put(planner, order, htmx=False, days="nonsense").status_code == 302
    assert WorkOrder.objects.get(pk=order.pk).placement.is_pinned


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"start": "2026-03-04T11:00"}, "faults"),
        ({"start": "never"}, "as day and time"),
        ({"people": "999999"}, "Nobody has the number"),
        ({"version": ""}, "out of date"),
        ({"version": "0"}, "changed this meanwhile"),
    ],
)
def test_what_is_not_stored_is_explained_beside_what_was_typed(
    planner: Client, order: WorkOrder, said: dict[str, str], words: str
) -> None:
    text = _text(put(planner, order, **said))
    assert words in text
    assert WorkOrder.objects.get(pk=order.pk).placement.start_at == AT
    assert put(planner, order, htmx=False, **said).url == reverse("maintenance:place-work", args=[order.number])


def test_what_a_refusal_and_the_checker_both_say_is_said_once(planner: Client, order: WorkOrder) -> None:
    text = _text(put(planner, order, start="2026-03-03T03:00"))
    assert text.count("<li>Oda is not on shift from Tue 3 Mar, 03:00 to") == 1


def test_a_job_that_does_not_exist_is_not_found(planner: Client, order: WorkOrder) -> None:
    assert planner.post(reverse("maintenance:put-on-board", args=["WO-9999"])).status_code == 404


# --- the board ------------------------------------------------------------------------------------


@pytest.mark.parametrize("query", ["?days=3", "?days=91&start=2026-02-20", "?weeks=13", "?days=4", "?days=" + "9" * 50])
def test_the_board_reaches_from_three_days_to_three_months(planner: Client, order: WorkOrder, query: str) -> None:
    assert "K1" in _text(planner.get("/openings/" + query))


@pytest.mark.parametrize("day", ["2026-03-06", "2026-05-01", "1900-01-01", "9999-12-31", "soon"])
def test_the_list_begins_with_the_day_that_was_picked(planner: Client, order: WorkOrder, day: str) -> None:
    listed = planner.get("/openings/", {"day": day}).context["listed"]
    if day.startswith("2026"):
        assert listed[0].on.isoformat() == day
    assert 1 <= len(listed) <= 7


@pytest.mark.parametrize("days", [3, 14, 91])
def test_the_board_asks_as_much_for_many_jobs_as_for_few(
    planner: Client, order: WorkOrder, days: int, django_assert_num_queries: Any, django_assert_max_num_queries: Any
) -> None:
    url = f"/openings/?days={days}&start=2026-03-06&q=flap"
    planner.get(url)
    with django_assert_max_num_queries(43) as few:
        planner.get(url)
    asked = len(few)
    for n in range(8):
        programme(kiln=KilnFactory(tag=f"L{n}"))
        job(kiln=KilnFactory(tag=f"L{n}"))
    place_all(NOW)
    # The first look after a change holds all places against the record, and is kept.
    planner.get(url)
    with django_assert_num_queries(asked):
        planner.get(url)


def test_a_search_finds_jobs_of_any_time_by_number_words_kiln_and_person(planner: Client, order: WorkOrder) -> None:
    url = reverse("maintenance:openings")
    for words in (order.number, "flap", "oda", f"k1 {order.number[-4:]}"):
        (found,) = planner.get(url, {"q": words, "start": "2026-05-01"}).context["found"]
        assert found.order == order and "start=2026-03-06" in found.query
    assert planner.get(url, {"q": "nothing of this"}).context["found"] == []
    assert "No unfinished job" in _text(planner.get(url, {"q": "%"}))


def test_an_opening_beyond_the_horizon_can_be_opened(planner: Client, oda: Person) -> None:
    *_others, last = programme(kiln=KilnFactory(tag="K9"), charges=16)
    url = reverse("maintenance:opening", args=["K9", f"after-{last.pk}"])
    assert last.end_at > NOW + timedelta(days=60)
    assert "Nothing is placed here." in _text(planner.get(url))


# --- a plan on the board --------------------------------------------------------------------------


def test_a_plan_is_drawn_on_the_same_board_with_what_it_costs(planner: Client, order: WorkOrder) -> None:
    left = job(hours=Decimal(14))
    plan = plan_of()
    start = standing_of(plan).plan.jobs[order.number].start_min
    answer = planner.get("/openings/", {"plan": plan.pk, "days": 7})
    text = _text(answer)
    assert "Not on record: the plan “Wednesday&#x27;s”" in text
    assert "It costs " in text and "Any plan costs at least" in text
    (block,) = [piece for row in answer.context["board"].rows for piece in row.jobs if piece.label == order.number]
    assert block.job and block.job.start_at == standing_of(plan).drawn.at(start)
    assert [one.number for one in answer.context["left_out"]] == [left.number]
    asked = ask(planner, job=order.number, start=AT.isoformat(), plan=plan.pk)
    assert "fits." in asked and "Place it here" not in asked


def test_the_crew_has_the_same_hours_in_a_plan_as_on_record(planner: Client, order: WorkOrder) -> None:
    late = Shift.objects.create(code="late", name="Late", weekdays="TU,WE", start_time=time(12), end_time=time(20))
    ShiftDuty.objects.create(person=PersonFactory(code="una"), shift=late, from_on=MONDAY.date())
    plan = plan_of()
    on_record, in_plan = (
        [day.capacity_h for day in planner.get("/openings/", {"days": 7, **asked}).context["board"].days]
        for asked in ({}, {"plan": plan.pk})
    )
    assert on_record[1:] == in_plan[1:] and on_record[1] == 16


@pytest.mark.parametrize("plan", ["77", "x", "9" * 40, "-1", "²"])
def test_a_plan_that_is_not_there_leads_back_to_the_record(planner: Client, order: WorkOrder, plan: str) -> None:
    assert "There is no such plan." in _text(planner.get("/openings/", {"plan": plan}, follow=True))


def test_a_plan_that_waits_is_said(planner: Client, order: WorkOrder) -> None:
    plan = want_plan(name="later", seconds=2, by=UserFactory(role="planner"))
    assert "“later” is not worked out yet." in _text(planner.get("/openings/", {"plan": plan.pk}, follow=True))


def test_a_plan_asks_as_much_for_many_jobs_as_for_few(
    planner: Client, order: WorkOrder, django_assert_num_queries: Any, django_assert_max_num_queries: Any
) -> None:
    few_jobs = plan_of()
    for n in range(6):
        programme(kiln=KilnFactory(tag=f"L{n}"))
        job(kiln=KilnFactory(tag=f"L{n}"))
    many_jobs = plan_of()
    for plan in (few_jobs, many_jobs):
        planner.get("/openings/", {"plan": plan.pk})
    with django_assert_max_num_queries(20) as few:
        planner.get("/openings/", {"plan": few_jobs.pk})
    with django_assert_num_queries(len(few)):
        planner.get("/openings/", {"plan": many_jobs.pk})


# --- two side by side -----------------------------------------------------------------------------


def test_two_plans_are_compared_job_by_job_and_cost_by_cost(planner: Client, order: WorkOrder) -> None:
    fresh = job()
    plan = plan_of()
    found = compare(standing_now(NOW), standing_of(plan))
    (row,) = [row for row in found.rows if row.ref == fresh.number]
    assert row.left is None and row.right is not None and row.right.people == ("Oda",)
    assert row.more_cents < 0 and row.why
    assert found.more_cents == sum(more for _part, _left, _right, more in found.parts) < 0
    text = _text(planner.get(reverse("maintenance:compare-plans"), {"left": "now", "right": plan.pk, "days": 7}))
    assert "The second costs " in text and "less." in text
    assert f">{fresh.number}</a>" in text and text.count('id="row1-K1"') == text.count('id="row2-K1"') == 1
    assert "differs" in text


def test_a_plan_beside_itself_differs_in_nothing(order: WorkOrder) -> None:
    standing = standing_of(plan_of())
    found = compare(standing, standing)
    assert (found.rows, found.more_cents, found.same) == ((), 0, 1)


def test_before_there_is_a_plan_the_page_says_what_to_do(planner: Client, order: WorkOrder) -> None:
    url = reverse("maintenance:compare-plans")
    assert "Work out a plan first" in _text(planner.get(url))
    plan = plan_of()
    # Nothing chosen: what is on record beside the last plan.
    assert "What each costs" in _text(planner.get(url))
    assert "Choose two that differ." in _text(planner.get(url, {"left": plan.pk, "right": plan.pk}))


@pytest.mark.parametrize("plan", ["77", "x", "9" * 40, "²"])
def test_an_unknown_plan_is_said_beside_the_choice(planner: Client, order: WorkOrder, plan: str) -> None:
    text = _text(planner.get(reverse("maintenance:compare-plans"), {"left": "now", "right": plan}))
    assert "There is no plan " in text


def test_a_plan_at_work_cannot_be_compared_yet(planner: Client, order: WorkOrder) -> None:
    plan = want_plan(name="later", seconds=2, by=UserFactory(role="planner"))
    text = _text(planner.get(reverse("maintenance:compare-plans"), {"left": "now", "right": plan.pk}))
    assert "is not worked out yet" in text
