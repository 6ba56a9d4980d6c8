"""The plan of a placing problem, as frozen dataclasses and in its forms "placing-plan/1" and "placing-plan/2"."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field

from plant.basics.sentences import Sentences, all_to_json

COST_PARTS = ("drying_lost", "delay", "overtime", "set_up", "interruption", "left_out", "moves", "later", "margin")
#: Parts that only a plan of the second form has.
SECOND_PARTS = ("later", "margin")


def format_of(form: int) -> str:
    """Name the form of a plan that answers a problem of the form of a number."""
    return f"placing-plan/{form}"


def cost_parts_of(form: int) -> tuple[str, ...]:
    """Name the parts of cost that a plan of a form has."""
    return COST_PARTS if form > 1 else tuple(part for part in COST_PARTS if part not in SECOND_PARTS)


@dataclass(frozen=True)
class Stop:
    """A kiln locked out: before a charge (in the opening), in a charge (an interruption) or while it is down anyway.

    Exactly one of the three is set; `in_down` is an index into the kiln's `down`.
    """

    kiln: str
    before_charge: int | None
    in_charge: int | None
    set_up_start_min: int
    end_min: int
    shift: str
    person: str
    in_down: int | None = None


@dataclass(frozen=True)
class PlacedJob:
    """Where a job is done and by whom: `crew` is (person, skill); `stop` is an index into the plan's stops."""

    start_min: int
    shift: str
    crew: tuple[tuple[str, str], ...]
    stop: int | None
    charge: int | None


@dataclass(frozen=True)
class Cost:
    """What a plan costs in cents, each part rounded once."""

    drying_lost: int = 0
    delay: int = 0
    overtime: int = 0
    set_up: int = 0
    interruption: int = 0
    left_out: int = 0
    moves: int = 0
    #: Charges that end after the end that was promised.
    later: int = 0
    #: Minutes short of the margin of an uncertain end.
    margin: int = 0

    @property
    def total(self) -> int:
        """The sum of the rounded parts."""
        return sum(getattr(self, part) for part in COST_PARTS)


@dataclass(frozen=True)
class Hopeless:
    """A job for which no plan can exist: the rule that forbids it, and sentences, whose instants are minutes."""

    job: str
    rule: str
    said: Sentences

    def __str__(self) -> str:
        return "; ".join(map(str, self.said))


@dataclass(frozen=True)
class Plan:
    """A complete plan: a job that is not in `jobs` is left out."""

    charge_starts: dict[str, tuple[int, ...]]
    stops: tuple[Stop, ...]
    jobs: dict[str, PlacedJob]
    cost: Cost = field(default_factory=Cost)
    stated_total_cents: int = 0
    bound_cents: int = 0
    seconds: float = 0.0
    #: The number of the form that the problem has.
    form: int = 1
    #: Jobs left out because they can lie nowhere, whatever else is done; only the second form has a place for it.
    cannot: tuple[Hopeless, ...] = ()


@dataclass(frozen=True)
class Unfinished:
    """What there is when the time was up before every job that must be placed was: no plan, nor proof of none."""

    charge_starts: dict[str, tuple[int, ...]]
    stops: tuple[Stop, ...]
    jobs: dict[str, PlacedJob]
    #: Jobs that have no place in it.
    without_place: tuple[str, ...]
    form: int = 1


def plan_to_json(plan: Plan) -> dict[str, object]:
    """Give the plan in the form "placing-plan/1" or "placing-plan/2"."""
    cannot = {"cannot": [_hopeless_to_json(one) for one in plan.cannot]} if plan.cannot and plan.form > 1 else {}
    return {
        "format": format_of(plan.form),
        **_places_to_json(plan),
        **cannot,
        "cost_cents": {part: getattr(plan.cost, part) for part in cost_parts_of(plan.form)}
        | {"total": plan.stated_total_cents},
        "bound_cents": plan.bound_cents,
        "seconds": round(plan.seconds, 3),
    }


def unfinished_to_json(found: Unfinished) -> dict[str, object]:
    """Give what there is when the time was up before there was a plan."""
    left_out = list(found.without_place)
    return {"format": format_of(found.form), "unfinished": True, **_places_to_json(found), "without_place": left_out}


def _places_to_json(plan: Plan | Unfinished) -> dict[str, object]:
    return {
        "charge_starts": {tag: list(starts) for tag, starts in plan.charge_starts.items()},
        "stops": [_stop_to_json(stop) for stop in plan.stops],
        "jobs": {
            ref: {
                "start_min": job.start_min,
                "shift": job.shift,
                "crew": [list(pair) for pair in job.crew],
                "stop": job.stop,
                "charge": job.charge,
            }
            for ref, job in plan.jobs.items()
        },
    }


def _stop_to_json(stop: Stop) -> dict[str, object]:
    found = asdict(stop)
    if stop.in_down is None:
        del found["in_down"]
    return found


def impossible_to_json(hopeless: tuple[Hopeless, ...], form: int = 1) -> dict[str, object]:
    """Give the answer where no plan can exist."""
    return {"format": format_of(form), "impossible": [_hopeless_to_json(one) for one in hopeless]}


def _hopeless_to_json(one: Hopeless) -> dict[str, object]:
    return {"job": one.job, "rule": one.rule, "said": all_to_json(one.said)}
