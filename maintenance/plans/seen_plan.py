"""What a plan's page shows: one sentence, the cost by part, charges that give way, jobs left out, and the way there."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from maintenance.frame.words import in_money, money_words
from maintenance.models import Plan
from maintenance.placing.plan import COST_PARTS
from maintenance.plans.drawing import held_back
from maintenance.plans.standing import Standing
from maintenance.pricing.sureness import ends_of, plan_words, sure_of_plan
from plant.frame.figures import fixed
from plant.models import Mill

COST_WORDS = {
    "drying_lost": gettext_lazy("drying lost"),
    "delay": gettext_lazy("work that waits"),
    "overtime": gettext_lazy("overtime"),
    "set_up": gettext_lazy("lock-outs"),
    "interruption": gettext_lazy("charges interrupted"),
    "left_out": gettext_lazy("jobs left out"),
    "moves": gettext_lazy("places that move"),
    "later": gettext_lazy("charges that come out later"),
    "margin": gettext_lazy("margins that are short"),
}
#: Money that is paid or lost; promises that are broken, at the mill's prices; what waiting is reckoned to cost; and
#: weights that only steer the solver, which are no money.
PAID, PROMISE, GUESS, WEIGHT = "paid", "promise", "guess", "weight"
KIND_OF = {"delay": GUESS, "left_out": PROMISE, "moves": PROMISE, "later": PROMISE, "margin": WEIGHT}
KIND_WORDS = {
    PAID: gettext_lazy("Money paid or lost"),
    PROMISE: gettext_lazy("Promises broken, at the mill's prices"),
    GUESS: gettext_lazy("Waiting, as far as it can be reckoned"),
    WEIGHT: gettext_lazy("Safety dates and margins not kept: no price buys them"),
}
CHART_WIDTH, CHART_HEIGHT = 640, 180
#: Lines of words are so high, and stand so far below the line they name.
LABEL_APART, LABEL_DOWN = 18.0, 5.0
MOST_STEPS = 200
CENT = Decimal("0.01")


def amount(cents: int | None) -> Decimal | None:
    """Return an amount in whole units of the mill's money."""
    return None if cents is None else in_money(cents)


def lead_words(plan: Plan, mill: Mill) -> str:
    """Say in one sentence what a plan is worth, or how far it is."""
    states = {
        Plan.State.WANTED: _("It waits for its turn."),
        Plan.State.FAILED: _("It did not come to an end; what is on record stays as it was."),
    }
    if plan.state in states:
        return states[Plan.State(plan.state)]
    if plan.cost_cents is None:
        return _("It is being worked out; nothing is known yet.")
    weight = steering_cents(plan, plan.plan)
    facts = {"cost": money_words(plan.cost_cents - weight, mill), "far": far_words(plan)}
    if plan.is_at_work:
        return _("So far it costs %(cost)s, %(far)s.") % facts
    said, sure = _("All told %(cost)s, %(far)s") % facts, plan_words(plan, mill)
    stood = plan.as_it_stood_cents
    if stood is not None and plan.as_it_stood:
        stood -= steering_cents(plan, plan.as_it_stood)
    against = [
        words
        for words in (
            # What the plan by due dates weighs for safety dates is not kept: with any it is no sum of money.
            "" if weight else _compared(plan.due_date_cents, plan.cost_cents, _("by due dates"), mill),
            # With a supposition, what stood may no longer hold: its price says little then.
            "" if plan.suppositions else _compared(stood, plan.cost_cents - weight, _as_it_stood(plan), mill),
        )
        if words
    ]
    said = f"{said}; {', '.join(against)}." if against else f"{said}."
    return " ".join([*_sums(plan, mill), said, sure]).strip()


def _sums(plan: Plan, mill: Mill) -> list[str]:
    """Say what is paid, what is promised and broken, and what waits, each apart: no sum of all tells that."""
    groups = [group for group in cost_groups(plan) if group.is_money and group.cost]
    return [f"{group.name}: {money_words(round(100 * group.cost), mill)}." for group in groups]


def _as_it_stood(plan: Plan) -> str:
    """Name what stood; places that the board showed count, whether or not they held."""
    loose = len(plan.as_it_stood.get("loose", {})) if plan.as_it_stood else 0
    if not loose:
        return _("as it stood")
    words = ngettext(
        "as it stood, with %d place that no longer held", "as it stood, with %d places that no longer held", loose
    )
    return words % loose


def far_words(plan: Plan) -> str:
    """Say how far a plan may be from the best there can be."""
    gap = plan.gap_pct
    if plan.is_best or gap == 0:
        return _("and no plan costs less")
    if gap is None or not plan.bound_cents:
        return _("and nothing is proven yet about how much less another could cost")
    shown = fixed(Decimal(str(gap)), 1) if gap >= 0.1 else fixed(Decimal(str(gap)), 2)
    return _("of which another plan could save at most %(gap)s %%") % {"gap": shown}


def _compared(other_cents: int | None, cents: int, name: str, mill: Mill) -> str:
    if other_cents is None:
        return ""
    facts = {"money": money_words(abs(other_cents - cents), mill), "name": name}
    if other_cents == cents:
        return _("just as much %(name)s") % facts
    return (_("%(money)s less than %(name)s") if other_cents > cents else _("%(money)s more than %(name)s")) % facts


@dataclass(frozen=True)
class CostRow:
    """A part of the cost: of the plan, and of what stood."""

    name: str
    cost: Decimal
    stood: Decimal | None
    is_part: bool = False
    kind: str = GUESS

    @property
    def more(self) -> Decimal | None:
        """How much more the plan costs; below 0 where it saves."""
        return None if self.stood is None else self.cost - self.stood


def cost_rows(plan: Plan) -> list[CostRow]:
    """List the parts of the cost that are there, in the plan or as it stood."""
    here: Mapping[str, int] = plan.plan.get("cost_cents", {})
    stood: Mapping[str, int] = plan.as_it_stood.get("cost_cents", {}) if plan.as_it_stood else {}
    rows = []
    for part in COST_PARTS:
        mine, other = here.get(part, 0), stood.get(part) if stood else None
        if mine or other:
            kind = KIND_OF.get(part, PAID)
            rows.append(CostRow(str(COST_WORDS[part]), in_money(mine), amount(other), kind=kind))
            rows += _sure_rows(plan, in_money(mine), amount(other)) if part == "delay" else []
    return rows


def _sure_rows(plan: Plan, delay: Decimal, delay_stood: Decimal | None) -> list[CostRow]:
    """Split the cost of delay by how sure it is; what waits for a job by a price that is typed is assumed."""
    here, stood = sure_of_plan(plan, plan.plan), sure_of_plan(plan, plan.as_it_stood)
    if here is None:
        return []
    names = {
        "physics": _("of it at least, by physics"),
        "experience": _("of it by the mill's own experience"),
        "assumption": _("of it assumed"),
    }
    rows = [
        CostRow(name, getattr(here, one), None if stood is None else getattr(stood, one), True)
        for one, name in names.items()
    ]
    # The rest is no price of waiting: what the plan sets on safety dates that pass.
    late_stood = None if stood is None or delay_stood is None else round(delay_stood - stood.total, 2)
    rows.append(CostRow(_("of it for safety dates that pass"), round(delay - here.total, 2), late_stood, True, WEIGHT))
    return [row for row in rows if abs(row.cost) > CENT or (row.stood is not None and abs(row.stood) > CENT)]


def steering_cents(plan: Plan, content: Mapping[str, Any]) -> int:
    """Return what of the cost of a plan's content is no money: safety dates that pass, and margins that are short."""
    return late_safety_cents(plan, content) + int(content.get("cost_cents", {}).get("margin", 0))


def late_safety_cents(plan: Plan, content: Mapping[str, Any]) -> int:
    """Return what hours after safety dates weigh in a plan's content, a part of its cost of delay."""
    ends = ends_of(plan, content)
    late = (
        Decimal(job["late_cents_per_hour"]) * max(0, ends[job["id"]] - job["latest_min"]) / 60
        for job in plan.problem.get("jobs", ())
        if job["id"] in ends and job.get("late_cents_per_hour")
    )
    return round(sum(late, Decimal(0)))


@dataclass(frozen=True)
class CostGroup:
    """Parts of the cost of one kind, which no sum mixes with another; weights have no sum in money."""

    name: str
    rows: list[CostRow]
    is_money: bool
    cost: Decimal
    stood: Decimal | None

    @property
    def more(self) -> Decimal | None:
        """How much more the plan costs of this kind; below 0 where it saves."""
        return None if self.stood is None else self.cost - self.stood


def cost_groups(plan: Plan) -> list[CostGroup]:
    """List the parts of the cost by what they are: paid, promised, reckoned; each with its sum."""
    stands = plan.as_it_stood or None
    late, late_stood = (late_safety_cents(plan, one or {}) for one in (plan.plan, stands))
    rows, groups = [], []
    for row in cost_rows(plan):
        if row.kind == GUESS and not row.is_part:
            # Nobody pays for the hours of a safety date: they weigh in the search alone.
            row = replace(row, cost=row.cost - in_money(late), stood=_less(row.stood, in_money(late_stood)))
        rows.append(row)
    for kind, name in KIND_WORDS.items():
        mine = [row for row in rows if row.kind == kind]
        sums = [row for row in mine if not row.is_part]
        stood = sum((row.stood or Decimal(0) for row in sums), Decimal(0)) if stands else None
        is_weight = kind == WEIGHT
        if mine or (is_weight and (late or late_stood)):
            groups.append(CostGroup(str(name), mine, not is_weight, sum((row.cost for row in sums), Decimal(0)), stood))
    return groups


def _less(money: Decimal | None, by: Decimal) -> Decimal | None:
    return None if money is None else money - by


@dataclass(frozen=True)
class Prices:
    """At which of the mill's prices a plan was worked out; for left-out jobs see each."""

    overtime_per_h: Decimal
    interruption: Decimal | None
    move: Decimal


def prices_of(standing: Standing) -> Prices:
    """Return the prices that are kept in a plan's problem, whatever the mill has set since."""
    problem = standing.drawn.problem
    interruption = next((kiln.interruption_cents for kiln in problem.kilns), None)
    return Prices(in_money(problem.overtime_cents_per_person_hour), amount(interruption), in_money(problem.move_cents))


@dataclass(frozen=True)
class LateCharge:
    """A charge that is loaded later than its programme says; no price where none was set on its delay."""

    kiln: str
    charge: str
    later: timedelta
    price: Decimal | None


@dataclass(frozen=True)
class StoppedCharge:
    """A charge that is interrupted for work, and what that costs."""

    kiln: str
    charge: str
    from_at: datetime
    ready_at: datetime
    price: Decimal
    jobs: tuple[str, ...]


@dataclass(frozen=True)
class KilnLoss:
    """What a kiln loses in drying by the end of the programme."""

    kiln: str
    later: timedelta
    price: Decimal


def late_charges(standing: Standing) -> list[LateCharge]:
    """List the charges that wait for work."""
    drawn, later = standing.drawn, held_back(standing.drawn, standing.plan)
    found = []
    for tag, ids in drawn.charge_ids.items():
        for charge_id in dict.fromkeys(ids):
            if charge_id is not None and charge_id in later:
                name = standing.charge_name(tag, ids.index(charge_id))
                price = _price_of_delay(standing, tag, ids.index(charge_id))
                found.append(LateCharge(tag, name, timedelta(minutes=later[charge_id]), price))
    return found


def _price_of_delay(standing: Standing, tag: str, number: int) -> Decimal | None:
    """Return what it costs that a charge comes out after the end that was promised, at the price of its hours."""
    kiln = standing.frame.number_of_kiln[tag]
    charge = standing.frame.kilns[kiln].charges[number]
    if not charge.later_cents_per_hour:
        return None
    start_min = standing.plan.charge_starts[tag][number]
    late_min = standing.frame.timing[kiln].end_of(number, start_min) - charge.promised_min
    return Decimal(max(0, late_min) * charge.later_cents_per_hour) / 6000


def kiln_losses(standing: Standing) -> list[KilnLoss]:
    """List the kilns whose last charge comes later than it might, with the price of that."""
    found = []
    for kiln in standing.drawn.problem.kilns:
        minutes = standing.plan.charge_starts[kiln.tag][-1] - kiln.charges[-1].start_min
        if minutes > 0:
            price = Decimal(minutes * kiln.drying_cents_per_hour) / 6000
            found.append(KilnLoss(kiln.tag, timedelta(minutes=minutes), price))
    return found


def stopped_charges(standing: Standing) -> list[StoppedCharge]:
    """List the charges that are interrupted, with what the interruption itself costs."""
    kilns = {kiln.tag: kiln for kiln in standing.drawn.problem.kilns}
    found = []
    for number, stop in enumerate(standing.plan.stops):
        if stop.in_charge is not None:
            found.append(
                StoppedCharge(
                    kiln=stop.kiln,
                    charge=standing.charge_name(stop.kiln, stop.in_charge),
                    from_at=standing.drawn.at(stop.set_up_start_min),
                    ready_at=standing.drawn.at(stop.end_min),
                    price=Decimal(kilns[stop.kiln].interruption_cents) / 100,
                    jobs=tuple(ref for ref, at in standing.plan.jobs.items() if at.stop == number),
                )
            )
    return found


def left_out(standing: Standing) -> list[str]:
    """List the jobs of the problem that the plan leaves out."""
    return [job.ref for job in standing.drawn.problem.jobs if job.ref not in standing.plan.jobs]


@dataclass(frozen=True)
class PinLetGo:
    """A job that somebody keeps at a place that no longer holds, with why, and when the plan does it instead."""

    number: str
    kept_at: datetime
    why: Any
    start_at: datetime | None


def pins_let_go(plan: Plan, standing: Standing | None) -> list[PinLetGo]:
    """List the jobs that no plan can keep where somebody keeps them."""
    starts = {} if standing is None else {ref: at.start_min for ref, at in standing.plan.jobs.items()}
    return [
        PinLetGo(
            number,
            datetime.fromisoformat(told["start_at"]),
            told["why"],
            standing.drawn.at(starts[number]) if standing is not None and number in starts else None,
        )
        for number, told in sorted(plan.pins_let_go.items())
    ]


# --- the way there --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Step:
    """How things stood after so many seconds."""

    seconds: float
    cost: Decimal
    bound: Decimal | None

    @property
    def far(self) -> Decimal | None:
        """The share of the cost that might still be saved."""
        return None if self.bound is None or not self.cost else (self.cost - self.bound) / self.cost


@dataclass(frozen=True)
class Chart:
    """Cost and bound over seconds as two stepped lines, in SVG units."""

    cost: str
    bound: str
    top: Decimal
    bottom: Decimal
    seconds: float
    cost_y: float
    bound_y: float | None

    @property
    def cost_label_y(self) -> float:
        """Where the last cost is written: above the other where they are close."""
        if self.bound_y is not None and self.bound_y - self.cost_y < LABEL_APART:
            return self.bound_y - LABEL_APART + LABEL_DOWN
        return self.cost_y + LABEL_DOWN

    @property
    def bound_label_y(self) -> float:
        """Where the last bound is written."""
        return (self.bound_y or 0.0) + LABEL_DOWN


def steps_of(plan: Plan) -> list[Step]:
    """Give what was found on the way, the newest last; where there are very many, those that changed the cost most."""
    rows = [(float(row[0]), int(row[1]), row[2]) for row in plan.progress]
    if len(rows) > MOST_STEPS:
        every = len(rows) / MOST_STEPS
        rows = [rows[int(number * every)] for number in range(MOST_STEPS)] + rows[-1:]
    return [Step(seconds, Decimal(cost) / 100, amount(bound) if bound else None) for seconds, cost, bound in rows]


def chart_of(steps: Sequence[Step]) -> Chart | None:
    """Draw the way; nothing where there is only one point in time."""
    if len(steps) < 2 or steps[-1].seconds <= 0:
        return None
    bounds = [step.bound for step in steps if step.bound is not None]
    top, bottom = max(step.cost for step in steps), min([*bounds, *(step.cost for step in steps)])
    if top == bottom:
        return None
    last = steps[-1].seconds

    def point(seconds: float, money: Decimal) -> tuple[float, float]:
        share = float((top - money) / (top - bottom))
        return round(CHART_WIDTH * seconds / last, 1), round(CHART_HEIGHT * share, 1)

    cost = _stepped([point(step.seconds, step.cost) for step in steps], CHART_WIDTH)
    bound = _stepped([point(step.seconds, step.bound) for step in steps if step.bound is not None], CHART_WIDTH)
    return Chart(
        cost=cost,
        bound=bound,
        top=top,
        bottom=bottom,
        seconds=last,
        cost_y=point(0, steps[-1].cost)[1],
        bound_y=point(0, bounds[-1])[1] if bounds else None,
    )


def _stepped(points: Sequence[tuple[float, float]], until: float) -> str:
    """Join points by level lines that step where something better was found."""
    if not points:
        return ""
    corners = [points[0]]
    for (_x, y), (x, lower) in pairwise(points):
        corners += [(x, y), (x, lower)]
    corners.append((until, points[-1][1]))
    return " ".join(f"{x},{y}" for x, y in corners)
