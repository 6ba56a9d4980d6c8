"""How sure a plan is: the share of draws in which each job holds, and the buffer that pays in the next days."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from statistics import median

from maintenance.placing.doubt import Doubt, buffer_that_pays, deviation_of, doubt
from maintenance.plans.drawing import person_id_of
from maintenance.plans.standing import Standing
from plant.models import Charge, Mill

#: Where the mill's charges tell nothing: standard deviation as a share of the drying time. Our own assumption.
USUAL_SPREAD = 0.05
MOST_DRAWS, LEAST_DRAWS = 500, 50
#: So many jobs and charges, times draws, are looked at while somebody waits.
MOST_LOOKED_AT = 200_000
SEED = 1
#: Crews are fixed that far ahead.
FIXED_AHEAD = timedelta(hours=48)


@dataclass(frozen=True)
class Spread:
    """How far ends of charges miss their prediction, as a share of the drying time, and from how many charges."""

    share: float
    charges: int

    @property
    def is_own(self) -> bool:
        """Whether the mill's own charges tell it."""
        return self.charges > 0


@dataclass(frozen=True)
class HoldsRow:
    """A job, and the share of draws in which it holds."""

    number: str
    kiln: str
    start_at: datetime
    holds: float
    is_safety: bool


@dataclass(frozen=True)
class BufferRow:
    """An opening in the next days with work: how long after the predicted end its crew should come."""

    kiln: str
    charge: str
    end_at: datetime
    lock_out_at: datetime
    drying_per_h: Decimal
    crew: int
    wage_per_h: Decimal
    late: float
    deviation: timedelta
    buffer: timedelta
    is_before: bool

    @property
    def slack(self) -> timedelta:
        """What the plan leaves between the predicted end and the lock-out."""
        return self.lock_out_at - self.end_at

    @property
    def is_tight(self) -> bool:
        """Whether the plan leaves less than pays."""
        return not self.is_before and self.slack < self.buffer


def spread_of(standing: Standing) -> Spread:
    """Take the spread from what the charges of the problem say of their ends, in shares of their drying time."""
    ids = [one for ids in standing.drawn.charge_ids.values() for one in ids if one is not None]
    hours = dict(Charge.objects.filter(pk__in=ids, end_spread_h__gt=0).values_list("pk", "end_spread_h"))
    shares = []
    for kiln in standing.drawn.problem.kilns:
        for charge_id, charge in zip(standing.drawn.charge_ids[kiln.tag], kiln.charges[:-1], strict=False):
            if charge_id in hours and charge.drying_min > 0:
                shares.append(float(hours[charge_id]) * 60 / charge.drying_min)
    return Spread(median(shares), len(shares)) if shares else Spread(USUAL_SPREAD, 0)


def doubt_of(standing: Standing, spread: Spread) -> Doubt:
    """Simulate the plan, with fewer draws where the mill is large."""
    problem = standing.drawn.problem
    size = len(standing.plan.jobs) + sum(len(kiln.charges) for kiln in problem.kilns)
    draws = max(LEAST_DRAWS, min(MOST_DRAWS, MOST_LOOKED_AT // max(size, 1)))
    return doubt(problem, standing.plan, spread.share, draws, SEED)


def holds_rows(standing: Standing, found: Doubt) -> list[HoldsRow]:
    """List the jobs, those first that hold least; safety work at risk on top."""
    frame, drawn = standing.frame, standing.drawn
    rows = []
    for fare in found.fares:
        kiln = frame.jobs[frame.number_of_job[fare.job]].kiln
        start_at = drawn.at(standing.plan.jobs[fare.job].start_min)
        rows.append(HoldsRow(fare.job, kiln, start_at, fare.holds, fare.is_safety))
    return sorted(rows, key=lambda row: (not (row.is_safety and row.holds < 1), row.holds, row.start_at, row.number))


def buffer_rows(standing: Standing, spread: Spread, mill: Mill, now_at: datetime) -> list[BufferRow]:
    """List the openings with work that begin in the next 48 hours, with the buffer that pays."""
    drawn, plan = standing.drawn, standing.plan
    kilns = {kiln.tag: kiln for kiln in drawn.problem.kilns}
    wage_cents = round(Decimal(mill.labour_rate_per_h) * 100)
    rows = []
    for number, stop in enumerate(plan.stops):
        if not stop.before_charge:
            continue
        kiln, charge = kilns[stop.kiln], stop.before_charge - 1
        end_at = drawn.at(plan.charge_starts[stop.kiln][charge] + kiln.charges[charge].length_min)
        crew = len(crew_of_stop(standing, number))
        if not now_at <= end_at < now_at + FIXED_AHEAD or kiln.drying_cents_per_hour + crew * wage_cents <= 0:
            continue
        deviation_min = deviation_of(drawn.problem, stop.kiln, charge, spread.share)
        buffer_min = buffer_that_pays(kiln.drying_cents_per_hour, crew, wage_cents, deviation_min)
        rows.append(
            BufferRow(
                kiln=stop.kiln,
                charge=standing.charge_name(stop.kiln, charge),
                end_at=end_at,
                lock_out_at=drawn.at(stop.set_up_start_min),
                drying_per_h=Decimal(kiln.drying_cents_per_hour) / 100,
                crew=crew,
                wage_per_h=Decimal(wage_cents) / 100,
                late=kiln.drying_cents_per_hour / (kiln.drying_cents_per_hour + crew * wage_cents),
                deviation=timedelta(minutes=round(deviation_min)),
                buffer=timedelta(minutes=abs(round(buffer_min))),
                is_before=buffer_min < 0,
            )
        )
    return sorted(rows, key=lambda row: (row.end_at, row.kiln))


def crew_of_stop(standing: Standing, number: int) -> frozenset[str]:
    """Name who waits at a kiln whose charge is late: who locks it out, and the crew of the first job in the stop."""
    plan, stop = standing.plan, standing.plan.stops[number]
    first = min((at for at in plan.jobs.values() if at.stop == number), key=lambda at: at.start_min, default=None)
    people = {person_id_of(stop.person)}
    return frozenset(people | {person_id_of(person) for person, _skill in first.crew} if first else people)
