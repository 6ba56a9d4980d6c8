"""The planner wants a plan: first what would happen if, stopped half-way; then one in earnest, which is accepted."""

import re
from datetime import timedelta

import pytest
from playwright.sync_api import Page, expect

from maintenance.models import Placement, Plan, WorkOrder
from plant.background.running import run_job
from plant.models import Job
from tests.browser.conftest import Visit, put_at
from tests.factories import MONDAY, KilnFactory
from tests.maintenance.mill import a_user
from tests.maintenance.placing_mill import OPENING_FROM, job, on_shift, programme

pytestmark = pytest.mark.browser


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    put_at(monkeypatch, MONDAY + timedelta(hours=1))


@pytest.fixture
def order(live_server: object) -> WorkOrder:
    programme(charges=3)
    on_shift(skills=("mechanical", "lock-out"))
    return job()


@pytest.fixture
def planner(visit: Visit, order: WorkOrder) -> Page:
    return visit(a_user("planner", "vera"))


def worked_out(plan: Plan) -> None:
    """Let the background do its work, with nobody asking meanwhile."""
    run_job(Job.objects.get(key=f"plan {plan.pk}").pk)
    plan.refresh_from_db()
    assert plan.state == "worked_out", plan.failure


def wanted(planner: Page) -> Plan:
    """Want a plan of ten seconds and let it be worked out."""
    planner.goto("/openings/plans/new/")
    planner.get_by_label("10 seconds").check()
    planner.get_by_role("button", name="Work out the plan").click()
    expect(planner.get_by_role("heading", name="It waits for its turn")).to_be_visible()
    planner.goto("about:blank")
    plan = Plan.objects.first()
    assert plan
    worked_out(plan)
    return plan


def test_a_what_if_is_followed_stopped_and_looked_at_but_not_accepted(planner: Page, order: WorkOrder) -> None:
    planner.goto("/openings/")
    planner.get_by_role("link", name="Plans").click()
    expect(planner.get_by_text("A plan places all jobs at once")).to_be_visible()
    planner.get_by_role("link", name="Work out a plan").click()
    planner.get_by_label("Name").fill("Oda is ill")
    planner.get_by_label("10 seconds").check()
    planner.get_by_role("button", name="+ somebody is away").click()
    # What was typed before the line was added is still there.
    expect(planner.get_by_label("Name")).to_have_value("Oda is ill")
    expect(planner.get_by_label("10 seconds")).to_be_checked()
    planner.get_by_label("Who").select_option(label="Oda")
    planner.get_by_label("From").fill("2026-03-06T06:00")
    planner.get_by_label("Until").fill("2026-03-07T22:00")
    planner.get_by_role("button", name="See what would happen").click()

    expect(planner.get_by_role("heading", name="It waits for its turn")).to_be_visible()
    plan = Plan.objects.get()
    steps = [[0.4, 90_000, 0], [2.5, 60_000, 20_000]]
    Plan.objects.update(state="under_way", progress=steps, cost_cents=60_000, bound_cents=20_000)
    expect(planner.get_by_text("600 EUR").first).to_be_visible()
    expect(planner.locator("#plan-said")).to_contain_text("So far it costs 600 EUR")
    planner.get_by_role("link", name="All figures so far as a table").click()
    expect(planner.get_by_role("row", name=re.compile("900 EUR"))).to_be_visible()
    planner.get_by_role("link", name="Follow it on").click()
    planner.get_by_role("button", name="Keep the best so far").click()
    expect(planner.get_by_role("heading", name="It comes to its end")).to_be_visible()

    planner.goto("about:blank")
    worked_out(plan)
    planner.goto(plan.get_absolute_url())
    expect(planner.get_by_text("Oda is away from Fri 6 Mar, 06:00 to Sat 7 Mar, 22:00.")).to_be_visible()
    expect(planner.get_by_text("It cannot be accepted")).to_be_visible()
    expect(planner.get_by_role("button", name="Accept the plan")).to_have_count(0)


def test_a_page_that_follows_a_plan_turns_into_its_result_by_itself(planner: Page, order: WorkOrder) -> None:
    plan = wanted(planner)
    Plan.objects.update(state="under_way")
    planner.goto(plan.get_absolute_url())
    expect(planner.get_by_role("heading", name="It is being worked out")).to_be_visible()
    Plan.objects.update(state="worked_out")
    expect(planner.get_by_role("heading", name="What it costs")).to_be_visible()


def test_a_plan_is_understood_doubted_and_accepted(planner: Page, order: WorkOrder) -> None:
    plan = wanted(planner)
    planner.goto(plan.get_absolute_url())
    expect(planner.get_by_text("and no plan costs less")).to_be_visible()
    changed = planner.get_by_role("region", name="1 job lies elsewhere")
    changed.get_by_role("link", name=order.number).click()

    expect(planner.get_by_role("heading", name="Why not sooner")).to_be_visible()
    expect(planner.get_by_text("Kiln K1 is not open and empty for long enough")).to_be_visible()
    planner.get_by_label("To have").select_option("from")
    planner.get_by_label("Day and time").fill(f"{OPENING_FROM + timedelta(hours=4):%Y-%m-%dT%H:%M}")
    planner.get_by_role("button", name="What would it cost?").click()
    expect(planner.locator("#wish-answer")).to_contain_text("proven")
    # It was asked for without leaving the page.
    assert "at=" not in planner.url

    planner.go_back()
    planner.get_by_role("link", name="How sure it is").click()
    expect(planner.get_by_role("row", name=re.compile(order.number))).to_contain_text("%")
    planner.go_back()
    planner.get_by_role("button", name="Accept the plan").click()
    expect(planner.locator("#messages")).to_contain_text("The plan is accepted: 1 job has a place.")
    assert WorkOrder.objects.get(pk=order.pk).state == "placed"


def test_one_kiln_of_a_plan_is_accepted_then_the_rest(planner: Page, order: WorkOrder) -> None:
    second = KilnFactory(tag="K2")
    programme(second)
    other = job(kiln=second, number="WO-9002")
    plan = wanted(planner)
    planner.goto(plan.get_absolute_url())
    planner.get_by_role("link", name="Decide about it").click()
    planner.get_by_role("button", name="K2: 1 job").click()
    expect(planner.locator("#messages")).to_contain_text("This part of the plan is accepted: 1 job has a place.")
    assert WorkOrder.objects.get(pk=other.pk).state == "placed"
    assert WorkOrder.objects.get(pk=order.pk).state == "raised"

    planner.get_by_role("button", name="Accept the plan").click()
    expect(planner.locator("#messages")).to_contain_text("The plan is accepted: 1 job has a place.")
    assert WorkOrder.objects.get(pk=order.pk).state == "placed"


def test_pin_plan_accept_one_kiln_take_back_report_a_stop_and_plan_again(planner: Page, order: WorkOrder) -> None:
    second = KilnFactory(tag="K2")
    programme(second)
    third = job(kiln=KilnFactory(tag="K3"), number="WO-9003")
    programme(third.kiln)
    other = job(kiln=second, number="WO-9002")

    # She keeps one job where she wants it.
    planner.goto(f"/openings/work-orders/{order.number}/")
    planner.get_by_label("Begins").fill(f"{OPENING_FROM + timedelta(hours=4):%Y-%m-%dT%H:%M}")
    planner.get_by_label("Oda").check()
    planner.get_by_role("button", name="Place it and keep it there").click()
    expect(planner.locator("#messages")).to_contain_text("keeps it")
    kept_at = WorkOrder.objects.get(pk=order.pk).placement.start_at

    # Of the plan for the others one kiln is accepted, and taken back.
    plan = wanted(planner)
    planner.goto(plan.get_absolute_url())
    planner.get_by_role("button", name=re.compile(f"^{third.kiln.tag}: 1 job")).click()
    expect(planner.locator("#messages")).to_contain_text("1 job has a place")
    planner.get_by_role("button", name="Take it back").click()
    expect(planner.locator("#messages")).to_contain_text("Taken back: 1 job has no place again")
    assert not Placement.objects.exclude(work_order=order).exists()
    assert WorkOrder.objects.get(pk=order.pk).placement.start_at == kept_at
    expect(planner.get_by_role("button", name="Accept the plan")).to_be_visible()

    # A kiln stops: it is planned anew around that, and nothing keeps her from accepting.
    planner.goto(f"/kilns/{second.tag}/downtime/")
    planner.get_by_label("Kind").select_option("unplanned")
    planner.get_by_label("Start", exact=True).fill(f"{MONDAY + timedelta(minutes=30):%Y-%m-%dT%H:%M}")
    planner.get_by_label("May last until").fill(f"{MONDAY + timedelta(hours=9):%Y-%m-%dT%H:%M}")
    planner.get_by_label("Cause").fill("A fan rubs")
    planner.locator("main form button.button-main").click()
    expect(planner.locator("#messages")).to_contain_text("The downtime of K2 is on record.")
    again = wanted(planner)
    planner.goto(again.get_absolute_url())
    planner.get_by_role("button", name="Accept the plan").click()
    expect(planner.locator("#messages")).to_contain_text("The plan is accepted: 2 jobs have a place")
    assert WorkOrder.objects.get(pk=order.pk).placement.start_at == kept_at
    assert WorkOrder.objects.get(pk=other.pk).state == "placed"
    expect(planner.get_by_role("button", name="Take it back")).to_be_visible()
