"""Plans on the screen: wanted with and without what-ifs, followed, looked at, decided about; and who may do what."""

import re
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from maintenance.frame.words import money_words
from maintenance.models import Plan, WorkOrder
from maintenance.plans.placing_all import place_all
from maintenance.plans.seen_plan import steering_cents
from plant import clock
from plant.models import Charge, Job, Kiln, Mill
from tests.factories import MONDAY, PersonFactory, UserFactory
from tests.maintenance.placing_mill import OPENING_FROM, job, on_shift, programme
from tests.maintenance.plans_made import made_plan

pytestmark = pytest.mark.django_db
NOW = MONDAY + timedelta(hours=1)
NEW = "/openings/plans/new/"


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)


@pytest.fixture
def planner(client: Client) -> Client:
    client.force_login(UserFactory(role="planner"))
    return client


@pytest.fixture
def mill() -> WorkOrder:
    """One kiln with a job that has no place yet, and Oda who can do it."""
    programme()
    on_shift()
    return job()


def page(client: Client, url: str, **ways: Any) -> str:
    answer = client.get(url, **ways)
    assert answer.status_code == 200, (url, answer.status_code)
    return answer.content.decode()


def planned(**ways: Any) -> Plan:
    return made_plan(UserFactory(role="planner", username="wanted-it"), **ways)


def when(hours: float) -> str:
    """A time as a browser sends it, in the mill's zone."""
    return (NOW + timedelta(hours=hours)).astimezone(ZoneInfo("Europe/Berlin")).strftime("%Y-%m-%dT%H:%M")


# --- the list -------------------------------------------------------------------------------------


def test_the_list_teaches_where_there_is_no_plan_yet(planner: Client, mill: WorkOrder) -> None:
    text = page(planner, "/openings/plans/")
    assert "No plan was worked out yet" in text
    assert "Work out a plan" in text


def test_the_list_has_state_cost_and_distance_and_offers_a_plan_to_planners_alone(mill: WorkOrder) -> None:
    plan = planned(name="for Monday")
    technician, planner = Client(), Client()
    technician.force_login(UserFactory(role="technician", username="t"))
    planner.force_login(UserFactory(role="planner", username="p"))
    text = page(technician, "/openings/plans/")
    assert "for Monday" in text and "worked out" in text and "1 is worked out and waits for a decision." in text
    assert "Work out a plan" not in text
    assert NEW in page(planner, "/openings/plans/")
    assert technician.get(NEW).status_code == 403
    for act in ("stop", "accept", "set-aside"):
        assert technician.post(f"{plan.get_absolute_url()}{act}/", {"version": 0}).status_code == 403


def test_the_list_asks_as_much_of_the_database_for_many_plans_as_for_few(planner: Client, mill: WorkOrder) -> None:
    user = UserFactory(username="u", person=PersonFactory(code="u"))

    def queries(count: int) -> int:
        Plan.objects.bulk_create(
            Plan(name=f"n{n}", wanted_at=clock.now(), wanted_by=user, decided_by=user, cost_cents=5, bound_cents=4)
            for n in range(count)
        )
        with CaptureQueriesContext(connection) as asked:
            page(planner, "/openings/plans/")
        return len(asked)

    few = queries(2)
    assert queries(60) <= few + 1  # the count of the pages
    assert "Page 1 of 2" in page(planner, "/openings/plans/")


# --- wanting one ----------------------------------------------------------------------------------


def test_a_plan_is_wanted_with_its_time_and_no_suppositions(planner: Client, mill: WorkOrder) -> None:
    answer = planner.post(NEW, {"name": "for Monday", "seconds": "30"})
    plan = Plan.objects.get()
    assert (answer.status_code, answer["Location"]) == (302, plan.get_absolute_url())
    assert (plan.name, plan.seconds_allowed, plan.suppositions, plan.state) == ("for Monday", 30, [], "wanted")
    assert Job.objects.filter(key=f"plan {plan.pk}").exists()


def lines(**fields: Any) -> dict[str, Any]:
    return {"name": "", "seconds": "10", **fields}


def test_lines_are_added_and_taken_away_without_a_script_and_what_was_typed_stays(
    planner: Client, mill: WorkOrder
) -> None:
    typed = lines(name="storm", lines=["0:charge_slips"], add="away", **{"w0-hours": "half a day"})
    text = planner.post(NEW, typed).content.decode()
    assert 'value="0:charge_slips"' in text and 'value="1:away"' in text
    assert 'value="half a day"' in text and 'value="storm"' in text
    # Faults are not looked for before the form is sent.
    assert "field-error" not in text
    text = planner.post(
        NEW, {**typed, "lines": ["0:charge_slips", "1:away"], "add": "", "remove": "0"}
    ).content.decode()
    assert "charge_slips" not in text.split("What if")[1].split("Take away")[0]
    assert 'value="1:away"' in text
    assert not Plan.objects.exists()


def test_what_is_supposed_is_kept_with_the_plan(planner: Client, mill: WorkOrder) -> None:
    charge, kiln = Charge.objects.first(), Kiln.objects.get()
    oda = PersonFactory(code="oda")
    sent = lines(
        lines=["0:charge_slips", "1:away", "4:kiln_kept"],
        **{"w0-charge": charge.pk, "w0-hours": "2,5"},
        **{"w1-person": oda.pk, "w1-from_at": when(3), "w1-until_at": when(30)},
        **{"w4-kiln": kiln.pk, "w4-from_at": when(24 * 5), "w4-until_at": when(24 * 5 + 8)},
    )
    assert planner.post(NEW, sent).status_code == 302
    plan = Plan.objects.get()
    slip, away, kept = plan.suppositions
    assert slip == {"kind": "charge_slips", "charge": charge.pk, "hours": 2.5}
    assert (away["kind"], away["person"]) == ("away", oda.pk)
    assert datetime.fromisoformat(away["from"]) == NOW + timedelta(hours=3)
    assert (kept["kind"], kept["kiln"]) == ("kiln_kept", kiln.pk)
    # The same form again, as it was.
    text = page(planner, f"{NEW}?again={plan.pk}")
    assert text.count('name="lines"') == 3 and 'value="2.5"' in text


BAD = [
    ({"lines": ["0:charge_slips"]}, "Choose the charge that takes longer."),
    ({"lines": ["0:charge_slips"], "w0-charge": "99999", "w0-hours": "3"}, "not one of the available"),
    ({"lines": ["0:charge_slips"], "w0-charge": "x", "w0-hours": "9999999"}, "less than or equal to 720"),
    ({"lines": ["0:charge_slips"], "w0-hours": "-4"}, "greater than or equal to 0.25"),
    ({"lines": ["0:charge_slips"], "w0-hours": "many"}, "Enter a number"),
    ({"lines": ["0:away"], "w0-from_at": "0001-01-01T00:00", "w0-until_at": "9999-12-31T23:59"}, "cannot be meant"),
    ({"lines": ["0:away"], "w0-from_at": "2026-03-20T10:00", "w0-until_at": "2026-03-20T09:00"}, "choose a later end"),
    ({"lines": ["0:away"], "w0-from_at": "2026-01-20T10:00", "w0-until_at": "2026-01-21T09:00"}, "That is over"),
    ({"lines": ["0:kiln_kept"], "w0-from_at": "soon"}, "Enter a valid date/time"),
    ({"lines": ["0:part_late"], "w0-part": "1", "w0-arrives_on": "2026-02-30"}, "Enter a valid date"),
    ({"seconds": "7"}, "not one of the available"),
    ({"seconds": ""}, "Choose how long to look."),
    ({"name": "x" * 121}, "at most 120 characters"),
]


@pytest.mark.parametrize(("fields", "words"), BAD)
def test_what_cannot_be_meant_is_said_and_nothing_is_wanted(
    planner: Client, mill: WorkOrder, fields: dict[str, Any], words: str
) -> None:
    answer = planner.post(NEW, lines(**fields))
    assert answer.status_code == 200
    assert words in answer.content.decode()
    assert not Plan.objects.exists()


def test_lines_that_nobody_offered_are_passed_over(planner: Client, mill: WorkOrder) -> None:
    sent = [
        "0:storm",
        "x",
        "99999:away",
        *(f"{n}:away" for n in range(9)),
        "8:away",
        *(f"{n}:away" for n in range(9, 40)),
    ]
    text = planner.post(NEW, lines(lines=sent, add="storm")).content.decode()
    assert text.count('name="lines"') == 12
    assert "More cannot be supposed at once." in text
    assert page(planner, f"{NEW}?again=99999999999999999999")


def test_a_supposition_that_makes_no_sense_is_refused_before_anything_is_worked_out(
    planner: Client, mill: WorkOrder
) -> None:
    kept = {"w0-kiln": Kiln.objects.get().pk, "w0-from_at": when(1), "w0-until_at": when(9)}
    text = planner.post(NEW, lines(lines=["0:kiln_kept"], **kept)).content.decode()
    assert "a charge that has begun is in it until Fri 6 Mar" in text
    assert not Plan.objects.exists()


# --- a plan's page --------------------------------------------------------------------------------


def test_a_plan_that_waits_is_asked_for_every_two_seconds_and_says_when_nobody_works(
    planner: Client, mill: WorkOrder
) -> None:
    planner.post(NEW, lines())
    plan = Plan.objects.get()
    text = page(planner, plan.get_absolute_url())
    assert 'hx-trigger="every 2s"' in text and "It waits for its turn" in text
    assert "perhaps nobody runs" not in text
    Job.objects.update(wanted_at=NOW - timedelta(days=900))
    assert "perhaps nobody runs the background work" in page(planner, plan.get_absolute_url())


def test_progress_tells_cost_and_least_cost_and_speaks_only_of_news(planner: Client, mill: WorkOrder) -> None:
    planner.post(NEW, lines())
    plan = Plan.objects.get()
    steps = [[0.5, 500_000, 0], [2.0, 400_000, 100_000], [6.0, 300_000, 297_000]]
    Plan.objects.update(state="under_way", progress=steps, cost_cents=300_000, bound_cents=297_000)
    url = reverse("maintenance:plan-progress", args=[plan.pk])
    text = page(planner, f"{url}?seen=1")
    assert "3,000 EUR" in text and "2,970 EUR" in text and "1.0 %" in text
    assert "So far it costs 3,000 EUR, of which another plan could save at most 1.0 %." in text
    assert "polyline" in text
    figures = page(planner, f"{plan.get_absolute_url()}?figures=yes")
    assert "6.0 s" in figures and "every 2s" not in figures
    assert 'role="status"' not in page(planner, f"{url}?seen=3")
    # The head of the page goes along with what is asked for below it.
    assert '<span id="plan-state" hx-swap-oob="true"><span class="tag">being worked out</span>' in text
    assert '<span id="plan-lead" hx-swap-oob="true">So far it costs 3,000 EUR' in text
    assert "hx-swap-oob" not in page(planner, plan.get_absolute_url())


def test_once_it_has_come_to_an_end_the_page_is_asked_for_anew(planner: Client, mill: WorkOrder) -> None:
    plan = planned()
    answer = planner.get(reverse("maintenance:plan-progress", args=[plan.pk]))
    assert answer["HX-Refresh"] == "true" and answer.content == b""
    assert "every 2s" not in page(planner, plan.get_absolute_url())


def test_stopping_keeps_the_best_so_far_and_comes_too_late_for_a_plan_that_is_there(
    planner: Client, mill: WorkOrder
) -> None:
    planner.post(NEW, lines())
    plan = Plan.objects.get()
    planner.post(f"{plan.get_absolute_url()}stop/")
    plan.refresh_from_db()
    assert plan.wants_stop
    assert "Keep the best so far" not in page(planner, plan.get_absolute_url())
    done = planned()
    answer = planner.post(f"{done.get_absolute_url()}stop/", follow=True)
    assert "not being worked out any more" in answer.content.decode()


def test_a_plan_says_what_it_costs_what_changes_and_why(planner: Client, mill: WorkOrder) -> None:
    plan = planned(name="for Monday")
    text = page(planner, plan.get_absolute_url())
    assert "Money paid or lost:" in text and "All told" in text and "another plan could save at most" in text
    assert "1 job lies elsewhere" in text and "no place" in text
    assert mill.number in text and "Fri 6 Mar" in text
    assert f"/openings/?plan={plan.pk}" in text
    assert f"/openings/compare/?left=now&amp;right={plan.pk}" in text
    assert "Accept the plan" in text


def test_a_plan_keeps_the_prices_it_was_worked_out_with(planner: Client, mill: WorkOrder) -> None:
    old, cost = planned(), Plan.objects.get().cost_cents
    Mill.objects.update(price_per_move=77, price_per_interruption=888)
    text = page(planner, old.get_absolute_url())
    assert "At which prices" in text and "15.00 EUR" in text and "600.00 EUR" in text and "77.00" not in text
    assert "An administrator changes them" in text and "/mill/" not in text
    old.refresh_from_db()
    assert (old.cost_cents, old.problem["move_cents"]) == (cost, 1500)
    chief = Client()
    chief.force_login(UserFactory(role="administrator", username="chief"))
    new = made_plan(UserFactory(role="planner", username="later"))
    text = page(chief, new.get_absolute_url())
    assert "77.00 EUR" in text and "888.00 EUR" in text and "/mill/#prices" in text


def test_accepting_gives_the_places_and_a_stale_page_changes_nothing(planner: Client, mill: WorkOrder) -> None:
    plan = planned()
    stale = planner.post(f"{plan.get_absolute_url()}accept/", {"version": plan.version + 1}, follow=True)
    assert "Somebody decided about this plan meanwhile" in stale.content.decode()
    nothing = planner.post(f"{plan.get_absolute_url()}accept/", {"version": "x"}, follow=True)
    assert "The page was not complete" in nothing.content.decode()
    mill.refresh_from_db()
    assert mill.state != "placed"
    answer = planner.post(f"{plan.get_absolute_url()}accept/", {"version": plan.version}, follow=True)
    assert "The plan is accepted: 1 job has a place." in answer.content.decode()
    assert "Accept the plan" not in answer.content.decode()
    mill.refresh_from_db()
    assert mill.state == "placed"


def test_a_plan_that_is_set_aside_leaves_all_as_it_was(planner: Client, mill: WorkOrder) -> None:
    plan = planned()
    answer = planner.post(f"{plan.get_absolute_url()}set-aside/", {"version": plan.version}, follow=True)
    assert "What is on record stays as it was." in answer.content.decode()
    mill.refresh_from_db()
    plan.refresh_from_db()
    assert (mill.state == "placed", plan.state) == (False, "set_aside")


def test_a_plan_that_supposes_something_is_for_looking_and_compared_with_one_that_does_not(
    planner: Client, mill: WorkOrder
) -> None:
    planned(name="plain")
    slip = {"kind": "charge_slips", "charge": Charge.objects.first().pk, "hours": 12}
    plan = made_plan(planner_user(), name="late", suppositions=[slip])
    text = page(planner, plan.get_absolute_url())
    assert "It supposes what is not on record" in text and "takes 12 h longer" in text
    assert "plain" in text and "Accept the plan" not in text
    answer = planner.post(f"{plan.get_absolute_url()}accept/", {"version": plan.version}, follow=True)
    assert "supposes what is not on record. Enter the absence" in answer.content.decode()


def test_a_job_that_loses_its_place_by_what_is_supposed_is_not_counted_as_staying(
    planner: Client, mill: WorkOrder
) -> None:
    place_all(NOW)
    start_at = WorkOrder.objects.get(pk=mill.pk).placement.start_at
    span = {"from": start_at.isoformat(), "until": (start_at + timedelta(hours=2)).isoformat()}
    away = {"kind": "away", "person": PersonFactory(code="oda").pk, **span}
    text = page(planner, made_plan(planner_user(), name="away", suppositions=[away]).get_absolute_url())
    assert "1 job lies elsewhere" in text and "0 jobs stay where people know them to be" in text


def planner_user() -> Any:
    return UserFactory(role="planner", username="supposes")


def test_safety_dates_that_no_opening_meets_stand_first(planner: Client, mill: WorkOrder) -> None:
    mill.is_safety, mill.safety_at = True, NOW + timedelta(days=1)
    mill.due_at = NOW + timedelta(days=1)
    mill.save()
    plan = planned()
    text = page(planner, plan.get_absolute_url())
    assert "Safety dates that no opening meets" in text
    assert "interrupt the charge for" in text
    assert text.index("Safety dates that no opening meets") < text.index("What it costs")


def test_a_plan_that_failed_says_why(planner: Client, mill: WorkOrder) -> None:
    planner.post(NEW, lines())
    Plan.objects.update(state="failed", failure="The working-out broke off.")
    text = page(planner, Plan.objects.get().get_absolute_url())
    assert "The working-out broke off." in text and "No plan came out of it" in text
    assert planner.get("/openings/plans/999999/").status_code == 404


# --- reasons and wishes ---------------------------------------------------------------------------


def why_url(plan: Plan, order: WorkOrder) -> str:
    return reverse("maintenance:plan-why", args=[plan.pk, order.number])


def test_a_job_says_where_it_is_why_not_sooner_and_who_locks_out(planner: Client, mill: WorkOrder) -> None:
    text = page(planner, why_url(planned(), mill))
    assert "From Fri 6 Mar" in text and "in the opening after charge" in text
    assert "Kiln K1 is not open and empty for long enough" in text and "earlier shifts" in text
    assert "locked out" in text and "Oda" in text


def test_a_job_on_record_says_the_same_of_its_place(planner: Client, mill: WorkOrder) -> None:
    place_all(NOW)
    url = reverse("maintenance:job-why", args=[mill.number])
    assert "in the opening after charge" in page(planner, url)
    assert planner.get("/openings/jobs/WO-NONE/why/").status_code == 404


def test_the_ways_to_have_a_job_sooner_are_tried_without_typing(planner: Client, mill: WorkOrder) -> None:
    late = job(number="WO-LATE", needs_state="any")
    place_all(NOW)
    placed = late.placement
    placed.start_at, placed.end_at = (at + timedelta(days=1) for at in (placed.start_at, placed.end_at))
    placed.save()
    url = reverse("maintenance:job-why", args=["WO-LATE"])
    text = page(planner, url)
    assert "The cheapest ways to have it sooner" in text and "With everything else held" in text
    at = re.search(r'name="at" value="([^"]+)">\s*<button', text)
    assert at is not None
    tried = page(planner, url, data={"way": "at", "at": at[1]})
    assert "It cannot be had:" not in tried and "Nothing was changed." in tried


def test_a_job_that_no_plan_takes_along_says_what_it_waits_for(planner: Client, mill: WorkOrder) -> None:
    long = job(number="WO-LONG", hours=30)
    plan = planned()
    assert "longer than any shift" in page(planner, why_url(plan, long))
    assert "1 job could not be taken along" in page(planner, plan.get_absolute_url())


def test_a_job_that_is_left_out_names_the_smallest_causes_and_what_to_do(planner: Client, mill: WorkOrder) -> None:
    nobody = job(number="WO-NOBODY", skills=("heating",))
    on_shift(code="bo", skills=("heating",), until=(MONDAY + timedelta(days=1)).date())
    plan = planned()
    text = page(planner, why_url(plan, nobody))
    assert "This plan leaves it out." in text
    assert "Nobody with its skills (1 × heating) is on shift, and qualified, while it could be done." in text
    assert "Put people with these skills on shift then, or renew a qualification that ends before." in text
    assert "1 job left out" in page(planner, plan.get_absolute_url())


def test_a_wish_has_its_proven_price_and_changes_nothing(planner: Client, mill: WorkOrder) -> None:
    plan = planned()
    at = (OPENING_FROM + timedelta(hours=26)).strftime("%Y-%m-%dT%H:%M")
    text = page(planner, why_url(plan, mill), data={"way": "from", "at": at})
    assert "proven" in text and "Nothing was changed." in text
    assert "All kilns were placed anew with it." in text
    part = planner.get(why_url(plan, mill), {"way": "by", "at": "2026-03-04T12:00"}, headers={"HX-Request": "true"})
    assert "It cannot be had:" in part.content.decode() and "<html" not in part.content.decode()
    assert "no opening long enough" in part.content.decode()
    already = page(planner, why_url(plan, mill), data={"way": "by", "at": "2026-03-20T12:00"})
    assert "It is so already" in already


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"way": "by", "at": ""}, "Say by, at, or from when."),
        ({"way": "by", "at": "tomorrow"}, "Enter a valid date/time"),
        ({"way": "by", "at": "0001-01-01T00:00"}, "cannot be meant"),
        ({"way": "by", "at": "2026-01-01T00:00"}, "That is over"),
        ({"way": "never", "at": "2026-03-20T12:00"}, "Select a valid choice"),
    ],
)
def test_a_wish_that_cannot_be_read_says_so(
    planner: Client, mill: WorkOrder, asked: dict[str, str], words: str
) -> None:
    assert words in page(planner, why_url(planned(), mill), data=asked)


def test_a_wish_far_away_is_answered(planner: Client, mill: WorkOrder) -> None:
    text = page(planner, why_url(planned(), mill), data={"way": "at", "at": "2149-03-20T12:00"})
    assert "It cannot be had:" in text


# --- doubt ----------------------------------------------------------------------------------------


def test_doubt_says_how_often_each_job_holds_and_which_buffer_pays(
    planner: Client, mill: WorkOrder, monkeypatch: pytest.MonkeyPatch
) -> None:
    plan = planned()
    url = reverse("maintenance:plan-doubt", args=[plan.pk])
    text = page(planner, url)
    assert "in 500 draws" in text and "our assumption" in text and mill.number in text
    assert "No charge ends in the next 48 hours" in text
    # Two days later the opening is near.
    monkeypatch.setattr("plant.clock.now", lambda: OPENING_FROM - timedelta(hours=30))
    text = page(planner, url)
    assert "Buffer that pays" in text and "Econometrica" in text


def test_doubt_takes_the_spread_of_the_mills_own_charges(planner: Client, mill: WorkOrder) -> None:
    place_all(NOW)
    Charge.objects.update(end_spread_h=6)
    text = page(planner, reverse("maintenance:doubt"))
    assert "as the predictions of 2 charges of yours say" in text


def test_safety_work_at_risk_stands_on_top(planner: Client, mill: WorkOrder) -> None:
    mill.is_safety, mill.safety_at = True, NOW + timedelta(days=20)
    mill.save()
    Charge.objects.update(end_spread_h=24)
    text = page(planner, reverse("maintenance:plan-doubt", args=[planned().pk]))
    assert text.index("Safety work that may not hold") < text.index("In how many of the draws")


def test_reasons_and_doubt_of_a_plan_under_way_lead_back_to_it(planner: Client, mill: WorkOrder) -> None:
    planner.post(NEW, lines())
    plan = Plan.objects.get()
    for url in (why_url(plan, mill), reverse("maintenance:plan-doubt", args=[plan.pk])):
        assert planner.get(url)["Location"] == plan.get_absolute_url()


def test_what_a_late_safety_date_weighs_in_the_search_is_never_shown_as_money(planner: Client, mill: WorkOrder) -> None:
    mill.is_safety, mill.safety_at, mill.due_at = True, NOW + timedelta(hours=5), NOW + timedelta(days=10)
    mill.save()
    plan = planned()
    assert mill.number in plan.unsafe
    weight = steering_cents(plan, plan.plan)
    assert weight > 0 and plan.cost_cents is not None
    text = page(planner, plan.get_absolute_url())
    assert "no money: it only steers the search" in text
    assert money_words(plan.cost_cents, Mill.objects.current()) not in text
    assert f"All told {money_words(plan.cost_cents - weight, Mill.objects.current())}" in text
