"""The plan that answers a placing problem, as frozen dataclasses and in the form "placing-plan/1"."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field

from plant.basics.sentences import Sentences, all_to_json

FORMAT = "placing-plan/1"
COST_PARTS = ("drying_lost", "delay", "overtime", "set_up", "interruption", "left_out", "moves")


@dataclass(frozen=True)
class Stop:
    """A kiln locked out: before a charge (in the opening) or in a charge (an interruption), never both."""

    kiln: str
    before_charge: int | None
    in_charge: int | None
    set_up_start_min: int
    end_min: int
    shift: str
    person: str


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

    @property
    def total(self) -> int:
        """The sum of the rounded parts."""
        return sum(getattr(self, part) for part in COST_PARTS)


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


@dataclass(frozen=True)
class Hopeless:
    """A job for which no plan can exist: the rule that forbids it, and sentences, whose instants are minutes."""

    job: str
    rule: str
    said: Sentences

    def __str__(self) -> str:
        return "; ".join(map(str, self.said))


def plan_to_json(plan: Plan) -> dict[str, object]:
    """Give the plan in the form "placing-plan/1"."""
    return {
        "format": FORMAT,
        "charge_starts": {tag: list(starts) for tag, starts in plan.charge_starts.items()},
        "stops": [asdict(stop) for stop in plan.stops],
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
        "cost_cents": {**asdict(plan.cost), "total": plan.stated_total_cents},
        "bound_cents": plan.bound_cents,
        "seconds": round(plan.seconds, 3),
    }


def impossible_to_json(hopeless: tuple[Hopeless, ...]) -> dict[str, object]:
    """Give the answer where no plan can exist."""
    told = [{"job": one.job, "rule": one.rule, "said": all_to_json(one.said)} for one in hopeless]
    return {"format": FORMAT, "impossible": told}
