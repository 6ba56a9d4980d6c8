"""The problem of placing jobs into the charge programme, as frozen dataclasses.

Times are whole elapsed minutes from the origin, a local Monday 00:00; money is whole cents. Intervals are half open.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from datetime import date
from fractions import Fraction
from functools import cached_property
from typing import Literal

from plant.basics.sentences import Sentence, Sentences

NeededState = Literal["running", "empty", "still", "any"]
STATES: tuple[NeededState, ...] = ("running", "empty", "still", "any")
#: States of a job for which the kiln is locked out.
LOCKED_OUT = ("empty", "still")
#: The one skill that has a meaning: its holder sets up a stop.
LOCK_OUT = "lock-out"
#: A year: nobody places jobs further ahead.
MOST_HORIZON_MIN = 366 * 24 * 60


@dataclass(frozen=True)
class Charge:
    """A charge as it is planned; the last of a kiln is a sentinel whose durations mean nothing.

    One that `goes_on` is the rest of the charge before it, which stands in the kiln meanwhile: what lies between the
    two is no opening but a standstill, which takes work that may be done beside the timber.
    """

    start_min: int
    loading_min: int
    heating_up_min: int
    drying_min: int
    conditioning_min: int
    cooling_min: int
    unloading_min: int
    goes_on: bool = False
    #: How long it may wait beyond its start; None: as long as the problem says (`max_delay_min`).
    may_wait_min: int | None = None
    #: The end that was promised; None: the end in the programme. Each hour that it ends later has a price.
    promised_end_min: int | None = None
    later_cents_per_hour: int = 0
    #: How uncertain its end is: what keeps its margin lies so far behind it, or so long before the end of running.
    margin_min: int = 0

    @cached_property
    def length_min(self) -> int:
        """From start to end, without an interruption."""
        return (
            self.loading_min
            + self.heating_up_min
            + self.drying_min
            + self.conditioning_min
            + self.cooling_min
            + self.unloading_min
        )

    @property
    def is_in_progress(self) -> bool:
        """Whether its start is fixed."""
        return self.start_min <= 0

    @property
    def promised_min(self) -> int:
        """The end from which on it is late."""
        return self.start_min + self.length_min if self.promised_end_min is None else self.promised_end_min


@dataclass(frozen=True)
class Down:
    """A time in which a kiln stands, which its charges reckon with: for work beside the timber, or any if unloaded."""

    start_min: int
    end_min: int
    unloaded: bool = False


@dataclass(frozen=True)
class Kiln:
    """A kiln with its prices, its times of setting up and making ready again, and its charges in order.

    `inside` is people who are inside whatever is placed: from, to, how many. Where `locked_out_by` names somebody, the
    kiln is locked out at minute 0, ready for work from `locked_out_min` on: the stop in the opening or standstill of
    that minute is this lock-out, which nobody need set up and which costs nothing any more.
    """

    tag: str
    drying_cents_per_hour: int
    set_up_min: int
    restore_min: int
    reheat_min: int
    set_up_cents: int
    interruption_cents: int
    max_people_inside: int
    charges: tuple[Charge, ...]
    inside: tuple[tuple[int, int, int], ...] = ()
    locked_out_by: str = ""
    locked_out_min: int = 0
    down: tuple[Down, ...] = ()

    @cached_property
    def opening_now(self) -> int | None:
        """The charge before which the kiln is open or stands at minute 0; None where a charge runs then."""
        number = next(n for n, one in enumerate(self.charges) if one.start_min > 0 or n == len(self.charges) - 1)
        before = self.charges[number - 1] if number else None
        return None if before is not None and before.start_min + before.length_min > 0 else number

    def is_locked_out_before(self, number: int | None) -> bool:
        """Whether the lock-out under way is the one before a charge."""
        return bool(self.locked_out_by) and number is not None and number == self.opening_now


@dataclass(frozen=True)
class Person:
    """Somebody who works, with skills and times away."""

    ref: str
    skills: frozenset[str]
    away: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True)
class Shift:
    """A time in which its people can be given work; work that began in it may last into its overtime."""

    ref: str
    start_min: int
    end_min: int
    overtime_end_min: int
    people: tuple[str, ...]


@dataclass(frozen=True)
class Job:
    """A job that wants a place; `crew` is persons by skill, `after` the jobs it waits for, with the lag in minutes."""

    ref: str
    kiln: str
    needs_state: NeededState
    duration_min: int
    crew: tuple[tuple[str, int], ...]
    earliest_min: int
    parts_min: int
    due_min: int
    latest_min: int
    safety: bool
    delay_cents_per_hour: int | Fraction
    late_cents_per_hour: int
    leave_out_cents: int
    after: tuple[tuple[str, int], ...] = ()
    #: Whether it keeps the margin of a charge's end; None: safety work does.
    keeps_margin: bool | None = None

    def __post_init__(self) -> None:
        if (self.delay_cents_per_hour * 24) % 1:
            raise ValueError(f"{self.ref}: {self.delay_cents_per_hour} cents an hour of delay are no whole cents a day")

    @cached_property
    def delay_parts_per_min(self) -> int:
        """What a minute of delay costs in 1440ths of a cent: the cents of a day."""
        return int(self.delay_cents_per_hour * 24)

    @cached_property
    def crew_size(self) -> int:
        """How many people do it."""
        return sum(count for _, count in self.crew)

    @property
    def wants_margin(self) -> bool:
        """Whether each minute short of a charge's margin costs what a minute late costs it."""
        return self.safety if self.keeps_margin is None else self.keeps_margin

    @cached_property
    def from_min(self) -> int:
        """Before this it cannot start, whatever the kiln does."""
        return max(self.earliest_min, self.parts_min)


@dataclass(frozen=True)
class Issued:
    """Where a job stands in the plan that is already out to people."""

    start_min: int
    people: frozenset[str]


@dataclass(frozen=True)
class Problem:
    """All there is to place, and what it may cost."""

    origin: date
    horizon_min: int
    max_delay_min: int
    overtime_cents_per_person_hour: int
    kilns: tuple[Kiln, ...]
    people: tuple[Person, ...]
    shifts: tuple[Shift, ...]
    jobs: tuple[Job, ...]
    issued: dict[str, Issued] = field(default_factory=dict)
    move_cents: int = 0
    pinned: frozenset[str] = frozenset()
    #: The minutes in which timber is loaded and unloaded, ascending; None: at any time.
    yard: tuple[tuple[int, int], ...] | None = None
    #: The number of the form: 2 has what follows, 1 has not.
    form: Literal[1, 2] = 1

    def may_wait_min(self, charge: Charge) -> int:
        """How long after its start a charge may begin; one in progress does not wait."""
        if charge.is_in_progress:
            return 0
        return self.max_delay_min if charge.may_wait_min is None else charge.may_wait_min


def problem_to_json(problem: Problem) -> dict[str, object]:
    """Give the problem in its form, "placing-problem/1" or "placing-problem/2"."""
    found: dict[str, object] = {
        "format": f"placing-problem/{problem.form}",
        "origin": problem.origin.isoformat(),
        "horizon_min": problem.horizon_min,
        "max_delay_min": problem.max_delay_min,
        "overtime_cents_per_person_hour": problem.overtime_cents_per_person_hour,
        "kilns": [_kiln_to_json(kiln) for kiln in problem.kilns],
        "people": [
            {"id": one.ref, "skills": sorted(one.skills), "away": [list(pair) for pair in one.away]}
            for one in problem.people
        ],
        "shifts": [
            {
                "id": shift.ref,
                "start_min": shift.start_min,
                "end_min": shift.end_min,
                "overtime_end_min": shift.overtime_end_min,
                "people": list(shift.people),
            }
            for shift in problem.shifts
        ],
        "jobs": [_job_to_json(job) for job in problem.jobs],
        "issued": {
            ref: {"start_min": issued.start_min, "people": sorted(issued.people)}
            for ref, issued in problem.issued.items()
        },
        "move_cents": problem.move_cents,
        "pinned": sorted(problem.pinned),
    }
    if problem.yard is not None:
        found["yard"] = [list(span) for span in problem.yard]
    return found


def _kiln_to_json(kiln: Kiln) -> dict[str, object]:
    plain = {name: getattr(kiln, name) for name in KILN_NUMBERS}
    charges = [_charge_to_json(charge) for charge in kiln.charges]
    found: dict[str, object] = {"tag": kiln.tag, **plain, "charges": charges}
    if kiln.inside:
        found["inside"] = [list(one) for one in kiln.inside]
    if kiln.locked_out_by:
        found |= {"locked_out_by": kiln.locked_out_by, "locked_out_min": kiln.locked_out_min}
    if kiln.down:
        found["down"] = [asdict(one) for one in kiln.down]
    return found


def _charge_to_json(charge: Charge) -> dict[str, object]:
    plain: dict[str, object] = {name: getattr(charge, name) for name in CHARGE_NUMBERS}
    if charge.goes_on:
        plain["goes_on"] = True
    for name in CHARGE_MAY_WAIT:
        if getattr(charge, name) is not None:
            plain[name] = getattr(charge, name)
    for name in CHARGE_MAY_COST:
        if getattr(charge, name):
            plain[name] = getattr(charge, name)
    return plain


def _job_to_json(job: Job) -> dict[str, object]:
    numbers = {name: getattr(job, name) for name in JOB_NUMBERS}
    if job.delay_parts_per_min % 24:
        # Cents an hour that are not whole are told by the day.
        del numbers["delay_cents_per_hour"]
        numbers["delay_cents_per_day"] = job.delay_parts_per_min
    else:
        numbers["delay_cents_per_hour"] = job.delay_parts_per_min // 24
    margin = {} if job.keeps_margin is None else {"keeps_margin": job.keeps_margin}
    return {
        "id": job.ref,
        "kiln": job.kiln,
        "needs_state": job.needs_state,
        "crew": dict(job.crew),
        "safety": job.safety,
        "after": [list(pair) for pair in job.after],
        **numbers,
        **margin,
    }


KILN_NUMBERS = (
    "drying_cents_per_hour",
    "set_up_min",
    "restore_min",
    "reheat_min",
    "set_up_cents",
    "interruption_cents",
    "max_people_inside",
)
CHARGE_NUMBERS = (
    "start_min",
    "loading_min",
    "heating_up_min",
    "drying_min",
    "conditioning_min",
    "cooling_min",
    "unloading_min",
)
#: What a charge of the second form may have: without it the problem, or the programme, says; or it is 0.
CHARGE_MAY_WAIT = ("may_wait_min", "promised_end_min")
CHARGE_MAY_COST = ("later_cents_per_hour", "margin_min")
JOB_NUMBERS = (
    "duration_min",
    "earliest_min",
    "parts_min",
    "due_min",
    "latest_min",
    "delay_cents_per_hour",
    "late_cents_per_hour",
    "leave_out_cents",
)


def crew_sentences(crew: Iterable[tuple[str, int]]) -> Sentences:
    """Name the people that a job asks for, by skill."""
    return tuple(Sentence.of("crew.some", number=count, skill=skill) for skill, count in crew)
