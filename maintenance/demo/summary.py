"""What a planner would like to read on the demo's morning."""

from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from inventory.models import ReorderAdvice
from maintenance.day.run import DaySummary
from maintenance.demo.readings import Brought
from maintenance.demo.rest import first_plan
from maintenance.models import DayRun, Placement, Plan, WorkOrder
from plant import clock
from plant.frame.saying import say
from plant.models import Charge, Downtime, Job, Kiln, Mill, User

OPENINGS_DAYS, STOPS_DAYS = 5, 30
MOST_LISTED = 8
HOUR = timedelta(hours=1)


def head_line(day: date) -> str:
    """Say which mill it is, and on which day it stands."""
    return f"{Mill.objects.current().name}, {day:%A} {day.day} {day:%B %Y}"


def filled_lines(filling: Job) -> Iterator[str]:
    """Say what came of filling the demo: readings, the day's work, and the plan that is left to decide about."""
    brought = Brought(**(filling.result or {}))
    if brought.readings:
        yield f"{brought.readings:,} readings of the kilns were brought"
        yield f"The watches raised {brought.fired} times in them; {brought.work_orders} jobs came of it"
    run = DayRun.objects.last_finished()
    if run is not None:
        yield from DaySummary(**run.summary).lines()
    plan = first_plan()
    if plan is None or not (plan.is_to_decide or plan.state == Plan.State.FAILED):
        return
    if plan.cost_cents is None or plan.bound_cents is None:
        yield f" ! No plan was worked out: {plan.failure}"
        return
    cost, least = plan.cost_cents / 100, plan.bound_cents / 100
    yield (
        f"A plan is worked out: it costs {cost:,.0f}, and no plan costs less than {least:,.0f}. "
        "It waits on the page Openings, under Plans, for the planner to accept it."
    )


def morning_lines(day: date, said_by_the_day: Iterable[str]) -> Iterator[str]:
    """Say what lies ahead, what has no place, what to order, and what was stopped."""
    mill = Mill.objects.current()
    zone, now = mill.zone, clock.now()
    yield head_line(day)
    yield ""
    yield "The day's work"
    yield from (f"  {line}" for line in said_by_the_day)
    yield ""
    yield f"Openings in the next {OPENINGS_DAYS} days"
    yield from _openings(now, zone)
    yield ""
    yield "Without a place"
    yield from _without_place()
    yield ""
    yield "To order"
    yield from _to_order()
    yield ""
    yield f"Stops in the last {STOPS_DAYS} days"
    yield from _stops(now, zone)


def _told(moment: datetime, zone: ZoneInfo) -> str:
    local = moment.astimezone(zone)
    return f"{local:%a} {local.day} {local:%b %H:%M}"


def _openings(now: datetime, zone: ZoneInfo) -> Iterator[str]:
    until = now + timedelta(days=OPENINGS_DAYS)
    found: list[tuple[datetime, datetime, Kiln]] = []
    for kiln in Kiln.objects.in_use():
        charges = Charge.objects.filter(kiln=kiln, end_at__gt=now - timedelta(days=10)).order_by("begin_at")
        for before, after in pairwise(charges):
            if before.end_at < until and after.begin_at > max(now, before.end_at):
                found.append((before.end_at, after.begin_at, kiln))
    if not found:
        yield "  none"
    for start_at, end_at, kiln in sorted(found, key=lambda opening: (opening[0], opening[2].tag)):
        placed = Placement.objects.filter(work_order__kiln=kiln, start_at__lt=end_at, end_at__gt=start_at)
        jobs = "; ".join(f"{place.work_order}" for place in placed.select_related("work_order").order_by("start_at"))
        span = f"{_told(start_at, zone)} to {_told(end_at, zone)} ({(end_at - start_at) / HOUR:.1f} h)"
        yield f"  {kiln.tag}  {span}  {jobs or 'nothing placed'}"


def _without_place() -> Iterator[str]:
    orders = WorkOrder.objects.unfinished().filter(placement__isnull=True).exclude(no_place_why=[])
    count = orders.count()
    if not count:
        yield "  nothing: every job that is due has its place"
    for order in orders.select_related("kiln").order_by("-is_safety", "due_at")[:MOST_LISTED]:
        yield f"  {order.number} {order.kiln.tag} {order.title}: {say(order.no_place_why)}"
    if count > MOST_LISTED:
        yield f"  … and {count - MOST_LISTED} more"


def _to_order() -> Iterator[str]:
    advice = (
        ReorderAdvice.objects.filter(order_quantity__gt=0)
        .select_related("part")
        .order_by("-stockout_risk", "part__name")
    )
    count = advice.count()
    if not count:
        yield "  nothing"
    for line in advice[:MOST_LISTED]:
        yield f"  {line.order_quantity.normalize():f} {line.part.unit} {line.part.name}: {say(line.reason)}"
    if count > MOST_LISTED:
        yield f"  … and {count - MOST_LISTED} more parts"


def _stops(now: datetime, zone: ZoneInfo) -> Iterator[str]:
    since = now - timedelta(days=STOPS_DAYS)
    stops = Downtime.objects.reaching_into(since, now).filter(kind=Downtime.Kind.UNPLANNED, share_lost=1)
    hours = sum(((min(stop.end_at or now, now) - max(stop.start_at, since)) / HOUR for stop in stops), 0.0)
    yield f"  {len(stops)} stops that nobody planned, {hours:.0f} h in all"
    for stop in stops.still_open().select_related("kiln"):
        yield f"  {stop.kiln.tag} is stopped since {_told(stop.start_at, zone)}: {stop.cause}"


def sign_in_lines(password: str) -> Iterator[str]:
    """Say who can sign in."""
    yield f"Sign in with one of these names and the password {password}"
    for user in User.objects.filter(is_active=True).prefetch_related("roles_held").select_related("person"):
        roles = ", ".join(sorted(str(role.label) for role in user.roles))
        yield f"  {user.username:<6} {user} ({roles})"
