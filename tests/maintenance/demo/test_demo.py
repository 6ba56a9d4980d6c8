"""The demo mill: the same for the same day, sound, full of life, and never in the way of a real one."""

import os
import subprocess
import sys
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, transaction
from django.db.models import Exists, OuterRef

from inventory.models import Lot, PurchaseOrder, ReorderAdvice, StockLevel, StockMove
from maintenance.day.run import run_day, say_shout
from maintenance.demo.programme import charge_rows, make_story
from maintenance.demo.setting_up import DEMO_PASSWORD, SET_UP, OtherMillError, clear_demo, day_of_demo, set_up
from maintenance.demo.world import LOADING_HOURS, ZONE, KilnStory, World
from maintenance.demo.writing import write_demo
from maintenance.models import Defect, FunctionCheck, Labour, Plan, ProofTest, StandingTask, WorkOrder
from maintenance.orders.four_eyes import hands_on, is_safety_work
from plant import clock
from plant.access import Role
from plant.background.heartbeat import NAME
from plant.background.keeper import kept_elsewhere
from plant.background.process import identity
from plant.charges.calculations.charge_phases import Charge as ChargeTimes
from plant.charges.calculations.charge_phases import PhaseKind, PhaseTimes, forecast_charges
from plant.charges.calculations.downtime import WHOLE, DowntimeKind
from plant.charges.calculations.downtime import Downtime as DowntimeTimes
from plant.kilns.calculations.kiln_state import KilnState, StateAt, state_at
from plant.kilns.kilns_now import kilns_now
from plant.models import Change, Charge, Downtime, Fitting, Heartbeat, Kiln, Mill, Person, Qualification, RoleHeld, User
from tests.factories import MillFactory

DAY = date(2026, 11, 25)
MONTHS = 3
HOUR = timedelta(hours=1)
A_WEEK = [DAY + timedelta(days=days) for days in range(7)]


@pytest.fixture(autouse=True)
def _leave_the_day_alone(settings: Any) -> Iterator[None]:
    # Overridden here, so that what the command sets ends with the test.
    settings.KILNWARD_TODAY = ""
    yield
    os.environ.pop("KILNWARD_TODAY", None)


def demo(*args: str) -> str:
    output = StringIO()
    call_command(
        "demo",
        "--no-serve",
        "--months",
        str(MONTHS),
        "--reading-days",
        "0",
        "--plan-seconds",
        "0",
        *args,
        stdout=output,
    )
    return output.getvalue()


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_the_same_day_gives_the_same_bytes(tmp_path: Path) -> None:
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        write_demo(tmp_path / name, DAY, months=MONTHS)
    assert contents(tmp_path / "one") == contents(tmp_path / "two")


def stories_of(day: date, months: int = MONTHS) -> tuple[World, list[KilnStory]]:
    world = World(day, months)
    return world, [make_story(world, kiln) for kiln in world.kilns]


def state_of(world: World, story: KilnStory, at: datetime) -> StateAt:
    """What the pages would say of a kiln at an instant."""
    begun = {row["number"] for row in charge_rows(world, [story]) if row["basis"] != "planned"}
    charges = []
    for number, charge in enumerate(story.charges):
        starts = charge.starts()
        spans = [(kind, (start, start + charge.lengths[kind])) for kind, start in starts.items()]
        phases = tuple(
            PhaseTimes.from_best_known(PhaseKind(kind), span, span, at, is_begun=charge.number in begun)
            for kind, span in spans
        )
        charges.append(ChargeTimes(number, 1, phases))
    known = [one for one in forecast_charges(charges, at) if one.charge.is_begun or one.start_at > at]
    stops = [
        DowntimeTimes(1, stop.start, stop.end, DowntimeKind(stop.kind), round(stop.share_lost * WHOLE), stop.cause)
        for stop in story.stops
    ]
    return state_at(at, [phase for one in known for phase in one.phases], stops)


def is_like_a_mill_at_work(states: list[StateAt]) -> bool:
    kinds = [state.state for state in states]
    return (
        1 <= kinds.count(KilnState.OPEN_AND_EMPTY) <= 2
        and kinds.count(KilnState.STOPPED) == 1
        and sum(state.is_loaded for state in states) >= 6
        and KilnState.HEATING_UP in kinds
        and KilnState.COOLING in kinds
        and KilnState.DRYING in kinds
    )


@pytest.mark.parametrize("day", A_WEEK)
def test_at_any_hour_of_its_day_it_is_a_mill_at_work(day: date) -> None:
    world, stories = stories_of(day, months=2)
    for hour in range(24):
        at = world.at(0) + hour * HOUR
        assert is_like_a_mill_at_work([state_of(world, story, at) for story in stories]), f"{hour} h"


@pytest.mark.parametrize("day", A_WEEK)
def test_every_kiln_fails_as_often_and_stands_as_long_as_kilns_do(day: date) -> None:
    world, stories = stories_of(day, months=14)
    hours = (world.now - world.start) / HOUR
    shares = {}
    for story in stories:
        stops = [stop for stop in story.stops if stop.kind == "unplanned" and stop.share_lost == 1 and stop.end]
        lengths = [(stop.end - stop.start) / HOUR for stop in stops if stop.end]
        planned = sum((stop.end - stop.start) / HOUR for stop in story.stops if stop.kind == "planned" and stop.end)
        assert 5 <= len(stops) / hours * 8766 <= 15
        assert min(lengths) >= 1.9 and max(lengths) <= 72
        shares[story.tag] = 1 - (sum(lengths) + planned) / hours
    assert all(0.93 <= share <= 0.98 for share in shares.values()), shares
    assert min(shares, key=shares.__getitem__) == "K3"


def test_the_bearings_of_one_kiln_fail_ever_faster() -> None:
    world, stories = stories_of(DAY, months=14)
    long_kiln = next(story for story in stories if story.tag == "K3")
    seized = [stop.start for stop in long_kiln.stops if stop.component == "fan-motor-2"]
    middle = world.start + (world.now - world.start) / 2
    assert sum(at > middle for at in seized) > 2 * sum(at <= middle for at in seized)


def test_loading_begins_by_day_and_drying_ends_at_any_hour() -> None:
    _, stories = stories_of(DAY, months=14)
    charges = [charge for story in stories for charge in story.charges]
    assert all(6 <= charge.begin.astimezone(ZONE).hour < 20 for charge in charges)
    assert {charge.starts()["conditioning"].astimezone(ZONE).hour for charge in charges} == set(range(24))


@pytest.mark.django_db
@pytest.mark.parametrize("day", [date(2026, 3, 29), date(2026, 10, 25), date(2028, 2, 29), date(2027, 1, 1)])
def test_it_loads_on_days_on_which_clocks_and_calendars_are_odd(day: date, settings: Any) -> None:
    settings.KILNWARD_TODAY = day.isoformat()
    report = set_up(day, months=2)
    assert report.faults == []
    assert Charge.objects.filter(basis="running").count() >= 4


@pytest.fixture
def mill(db: None, settings: Any, monkeypatch: pytest.MonkeyPatch) -> World:
    """The demo mill at seven in the morning."""
    settings.KILNWARD_TODAY = DAY.isoformat()
    world = World(DAY, MONTHS)
    monkeypatch.setattr(clock, "now", lambda: world.at(0, 7))
    set_up(DAY, months=MONTHS)
    return world


def test_every_page_has_life(mill: World) -> None:
    assert Kiln.objects.count() == 8
    assert set(RoleHeld.objects.values_list("role", flat=True)) == set(Role.values)
    assert all(user.check_password(DEMO_PASSWORD) for user in User.objects.all())
    assert Downtime.objects.still_open().get().kiln.tag == "K3"
    assert 5 <= Defect.objects.not_cured().count() <= 9
    assert WorkOrder.objects.filter(state="signed_off").count() > 100
    assert PurchaseOrder.objects.on_the_way().filter(promised_on__lt=DAY).exists()
    assert PurchaseOrder.objects.filter(state="drawn_up").exists()
    assert Lot.objects.filter(expires_on__lt=DAY, levels__on_hand__gt=0).exists()
    assert not StockLevel.objects.filter(on_hand__lt=0).exists()


def test_safety_work_of_the_past_was_signed_off_and_tested_as_it_is_to_be(mill: World) -> None:
    related = ("sheet", "component__kind", "defect", "signed_off_by")
    signed = [
        one for one in WorkOrder.objects.filter(state="signed_off").select_related(*related) if is_safety_work(one)
    ]
    assert len(signed) > 20
    assert not [one.number for one in signed if one.signed_off_by and hands_on([one]).have(one.signed_off_by)]
    tests = ProofTest.objects.filter(work_order__isnull=False)
    assert tests.count() > 10
    in_team = Labour.objects.filter(work_order=OuterRef("work_order"), person=OuterRef("tested_by"))
    assert not tests.filter(~Exists(in_team)).exists()


def test_the_pages_see_a_mill_at_work_at_any_hour(mill: World) -> None:
    for hour in range(24):
        states = [stand.state for stand in kilns_now(Kiln.objects.all(), mill.at(0) + hour * HOUR)]
        assert is_like_a_mill_at_work(states), f"{hour} h"


def test_its_yard_works_in_just_the_hours_in_which_it_loads(mill: World) -> None:
    week = Mill.objects.current().yard.week
    assert {on: (span[0].hour, span[1].hour) for on, span in enumerate(week) if span} == LOADING_HOURS


def test_seven_people_with_skills_and_shifts_work_there(mill: World) -> None:
    crew = Person.objects.filter(qualifications__isnull=False, duties__isnull=False).distinct()
    assert crew.count() == 7
    assert not crew.filter(user__roles_held__role__in=[Role.MANAGER, Role.AUDITOR, Role.ADMINISTRATOR]).exists()
    assert Qualification.objects.filter(valid_until__gt=DAY, valid_until__lt=DAY + timedelta(days=24)).exists()


def test_a_check_is_under_way_with_half_of_the_open_part_done(mill: World) -> None:
    check = FunctionCheck.objects.under_way().get()
    inside = check.items.filter(point__seen_in="open_empty")
    assert check.kiln.tag == "K5"
    assert 0 < inside.filter(findings__isnull=False).count() < inside.count()
    assert not check.items.exclude(point__seen_in="open_empty").filter(findings__isnull=True).exists()


def test_stops_took_parts_and_fittings_with_them(mill: World) -> None:
    stops = Downtime.objects.filter(kind="unplanned", end_at__isnull=False)
    assert stops.count() == stops.filter(cured_by__isnull=False).count()
    seized = stops.filter(failure_mode__code="motor-bearing-worn")
    for stop in seized:
        assert Fitting.objects.filter(component=stop.component, removed_at=stop.end_at, removal="failed").exists()
        taken = StockMove.objects.filter(reservation__source=stop.cured_by.get().number, part__code="bearing-6206")
        assert sum(move.quantity for move in taken) == -2
    assert seized


def test_the_morning_has_its_troubles_but_not_too_many(mill: World) -> None:
    summary = run_day(DAY)
    alarms = [shout for shout in summary.shouts if shout["level"] == "alarm"]
    assert len(alarms) == 1 and "K6" in say_shout(alarms[0])
    assert 2 <= summary.waiting_for_parts <= 6
    assert 2 <= summary.without_place <= 3
    assert 50 <= len(summary.raised) + summary.following <= 100
    reasons = WorkOrder.objects.unfinished().filter(placement__isnull=True).values_list("no_place_why", flat=True)
    assert len(set(reasons)) == summary.without_place
    assert 3 <= ReorderAdvice.objects.filter(order_quantity__gt=0).count() <= 8
    overdue = StandingTask.objects.filter(next_due_on__lt=DAY)
    assert {"K1-heating-valve-seat", "K3-coil-clean"} <= set(overdue.values_list("code", flat=True))
    assert StandingTask.objects.filter(last_done_on__isnull=True).count() <= 4
    latest = {test.component_id: test for test in ProofTest.objects.order_by("tested_at")}
    due = [test.next_due_on for test in latest.values()]
    assert min(due) >= DAY and any(on <= DAY + timedelta(days=7) for on in due)


@pytest.mark.django_db
def test_the_command_tells_what_a_planner_wants_to_read() -> None:
    told = demo("--today", "2026-11-25")
    for expected in (
        "Wednesday 25 November 2026",
        "Openings in the next",
        "To order",
        "K3 is stopped",
        DEMO_PASSWORD,
    ):
        assert expected in told
    assert os.environ["KILNWARD_TODAY"] == "2026-11-25"
    orders = WorkOrder.objects.count()
    changes = Change.objects.filter(act="files loaded").count()
    demo("--today", "2026-11-25")
    assert WorkOrder.objects.count() == orders
    assert Change.objects.filter(act="files loaded").count() == changes


@pytest.mark.django_db
def test_the_planner_finds_a_plan_to_decide_about() -> None:
    said = demo("--plan-seconds", "4")

    plan = Plan.objects.get()
    assert plan.state == Plan.State.WORKED_OUT, plan.failure
    assert "A plan is worked out" in said
    demo("--plan-seconds", "4")
    assert Plan.objects.get() == plan


@pytest.mark.django_db
def test_a_demo_of_an_earlier_day_is_kept_and_goes_on_standing_there(settings: Any) -> None:
    demo("--today", "2026-11-20")
    settings.KILNWARD_TODAY = ""
    told = demo()
    assert "it stands on 2026-11-20" in told
    assert settings.KILNWARD_TODAY == "2026-11-20"


@pytest.mark.django_db(transaction=True)
def test_another_day_is_given_only_with_a_fresh_start() -> None:
    demo("--today", "2026-11-20")
    with pytest.raises(CommandError, match="stands on 2026-11-20"):
        demo("--today", "2026-11-25")
    demo("--today", "2026-11-25", "--fresh")
    assert day_of_demo() == DAY


@pytest.mark.django_db
def test_a_demo_that_is_served_is_not_cleared_under_its_server() -> None:
    Change.record(MillFactory(), SET_UP, by=None, after={"day": DAY.isoformat()})
    with subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE) as server:
        Heartbeat.objects.update_or_create(name=NAME, defaults={"keeper": identity(server.pid)})
        with pytest.raises(CommandError, match=rf"is being served \(process {server.pid},"):
            demo("--fresh")
        assert day_of_demo() == DAY
        server.kill()
    assert kept_elsewhere() == ""


@pytest.mark.django_db(transaction=True)
def test_ledgers_are_guarded_again_after_a_fresh_start(settings: Any) -> None:
    settings.KILNWARD_TODAY = DAY.isoformat()
    set_up(DAY, months=2)
    clear_demo()
    assert not Mill.objects.exists()
    set_up(DAY, months=2)
    with pytest.raises(DatabaseError), transaction.atomic():
        Change.objects.all().delete()


@pytest.mark.django_db
def test_the_demo_stays_out_of_a_real_mill() -> None:
    Mill.objects.create(name="Another Sawmill")
    for args in ((), ("--fresh",)):
        with pytest.raises(CommandError, match="holds a mill of its own"):
            demo(*args)
    with pytest.raises(OtherMillError):
        clear_demo()
    assert Mill.objects.count() == 1


@pytest.mark.parametrize("args", [("--today", "tomorrow"), ("--today", "2026-02-30")])
@pytest.mark.django_db
def test_what_is_no_day_is_refused(args: tuple[str, ...]) -> None:
    with pytest.raises(CommandError, match="YYYY-MM-DD"):
        demo(*args)
