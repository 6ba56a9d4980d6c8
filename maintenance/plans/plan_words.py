"""A plan in the terms of the records: names, instants, and what it breaks as sentences about this mill."""

from collections.abc import Iterable
from datetime import date
from functools import cached_property
from typing import Final

from django.db.models import Case, When
from django.db.models import Value as Constant

from maintenance.placing import plan as plans
from maintenance.placing.checking import Broken
from maintenance.placing.problem import LOCK_OUT
from maintenance.placing.standing import Move
from maintenance.placing.state import State
from maintenance.plans.desk import ANYBODY
from maintenance.plans.drawing import Drawn, person_id_of
from plant.basics.sentences import Sentence, Value
from plant.frame.saying import say
from plant.models import Charge, Person, Qualification

#: Skills of the placing that are no skills of the mill.
SKILLS: Final = {LOCK_OUT: Sentence.of("skill.lock_out"), ANYBODY: Sentence.of("skill.anybody")}


class PlanWords:
    """Says what there is of a plan; ``plan`` is the one that is meant where no other is named."""

    def __init__(self, drawn: Drawn, state: State, plan: plans.Plan) -> None:
        self.drawn, self.state, self.frame, self.plan = drawn, state, state.frame, plan

    def name_of(self, person_ref: str) -> str:
        """Return a person's name."""
        return self._names.get(person_id_of(person_ref), person_ref)

    @cached_property
    def _names(self) -> dict[str, str]:
        return {str(pk): name for pk, name in Person.objects.values_list("pk", "name")}

    @cached_property
    def charges(self) -> dict[int, Charge]:
        """Return the charges of the problem, and the last of each kiln before it."""
        ids = {one for ids in self.drawn.charge_ids.values() for one in ids} | {*self.drawn.last_charge_ids.values()}
        return Charge.objects.only("number", "end_at").in_bulk([one for one in ids if one is not None])

    def charge_name(self, tag: str, index: int) -> str:
        """Say which charge of the problem it is, as the mill does."""
        return say(self.charge(tag, index))

    def charge(self, tag: str, index: int) -> Sentence:
        """Name a charge of the problem as the mill does."""
        ids = self.drawn.charge_ids.get(tag, ())
        charge = self.charges.get(ids[index] or 0) if index < len(ids) else None
        if charge is not None:
            return Sentence.of("plan.charge", number=charge.number, kiln=tag)
        return Sentence.of("plan.programme_end", kiln=tag)

    def told(self, said: Sentence, plan: plans.Plan | None = None) -> Sentence:
        """Put names and instants into a sentence of the placing, which knows refs and minutes."""
        values = ((name, self._value(name, value, plan or self.plan)) for name, value in said.values)
        return Sentence(said.code, tuple(values))

    def _value(self, name: str, value: Value, plan: plans.Plan) -> Value:
        match value:
            case Sentence():
                return self.told(value, plan)
            case tuple():
                return tuple(self._value(name, one, plan) for one in value)
            case int() if name.endswith(("_at", "_on")):
                return self.drawn.at(value)
            case str():
                return self._named(name, value, plan)
        return value

    def _named(self, name: str, ref: str, plan: plans.Plan) -> Value:
        """Return what somebody or something is called; refs that are names already come as they are."""
        match name:
            case "person":
                return self.name_of(ref)
            case "shift":
                return self._shift(ref)
            case "skill":
                return SKILLS.get(ref, ref)
            case "other" | "job" if ref.startswith("stop "):
                return self._stop(ref, plan)
            case "what" if ref.startswith("stop "):
                return Sentence.of("plan.itself", what=self._stop(ref, plan))
            case "what" if ", charge " in ref:
                tag, _comma, index = ref.rpartition(", charge ")
                return Sentence.of("plan.itself", what=self.charge(tag, int(index)))
        return ref

    @cached_property
    def _qualifications_that_end(self) -> list[tuple[str, str, date | None]]:
        until_on = self.drawn.at(self.frame.problem.horizon_min).date()
        held = Qualification.objects.filter(person__is_active=True, valid_until__lt=until_on).order_by("valid_until")
        named = Case(When(skill__code=LOCK_OUT, then=Constant(LOCK_OUT)), default="skill__name")
        return list(held.annotate(named=named).values_list("named", "person__name", "valid_until"))

    def qualifications_that_end(self, skill: str) -> list[tuple[str, date]]:
        """Name the people whose qualification for a skill has an end before the horizon, with that day."""
        return [(name, on) for named, name, on in self._qualifications_that_end if named == skill and on is not None]

    def said_of(self, broken: Broken, plan: plans.Plan) -> Sentence:
        """Say a broken rule as a sentence about this mill."""
        if broken.rule == "away":
            person = str(broken.said["person"])
            until_min = self._at_work_until(person, broken.where, plan)
            if until_min:
                until_at = self.drawn.at(until_min)
                return Sentence.of("fault.at_work", person=self.name_of(person), until_at=until_at)
        return self.told(broken.said, plan)

    def _at_work_until(self, person: str, ref: str, plan: plans.Plan) -> int | None:
        """Return until when somebody is at work that is under way while a job lasts."""
        at = plan.jobs.get(ref)
        if at is None:
            return None
        end_min = at.start_min + self.frame.jobs[self.frame.number_of_job[ref]].duration_min
        spans = self.drawn.at_work.get(person_id_of(person), ())
        return next((end for start, end in spans if start < end_min and at.start_min < end), None)

    def _shift(self, ref: str) -> Value:
        number = self.frame.number_of_shift.get(ref)
        if number is None:
            return ref
        shift = self.frame.shifts[number]
        at = self.drawn.at
        return Sentence.of("plan.shift", start_at=at(shift.start_min), end_clock=at(shift.end_min))

    def _stop(self, where: str, plan: plans.Plan) -> Value:
        number = int(where.removeprefix("stop "))
        if number >= len(plan.stops):
            return where
        stop = plan.stops[number]
        return Sentence.of("plan.lock_out", kiln=stop.kiln, begin_at=self.drawn.at(stop.set_up_start_min))

    def _faults(self, ref: str, move: Move) -> Iterable[Sentence]:
        """Say every broken rule; that the kiln is in the wrong state is said once, with what it does then."""
        own = move.plan.jobs[ref].stop
        wrong_state = [
            one
            for one in move.broken
            if (one.rule == "state" and one.where == ref) or (one.rule == "stop place" and one.where == f"stop {own}")
        ]
        if wrong_state:
            yield self._kiln_then(ref, move.plan.jobs[ref].start_min)
        locks_out = [
            one for one in move.broken if one.where == f"stop {own}" and one.rule in ("shift", "skill", "unknown")
        ]
        if locks_out and not wrong_state:
            yield self._nobody_locks_out(move.plan.stops[own or 0])
        off_shift = [one for one in move.broken if one.where == ref and one.rule == "shift"]
        if off_shift:
            yield self._not_on_shift(ref, move.plan.jobs[ref])
        for one in move.broken:
            if one not in wrong_state + locks_out + off_shift:
                yield self.said_of(one, move.plan)

    def _nobody_locks_out(self, stop: plans.Stop) -> Sentence:
        of = self.frame.kilns[self.frame.number_of_kiln[stop.kiln]]
        start_at = self.drawn.at(stop.set_up_start_min)
        end_at = self.drawn.at(stop.set_up_start_min + of.set_up_min)
        return Sentence.of("fault.nobody_locks_out", kiln=stop.kiln, start_at=start_at, end_at=end_at)

    def _not_on_shift(self, ref: str, at: plans.PlacedJob) -> Sentence:
        """Say that its people are not on one shift for as long as a job takes."""
        end_min = at.start_min + self.frame.jobs[self.frame.number_of_job[ref]].duration_min
        span = {"start_at": self.drawn.at(at.start_min), "end_at": self.drawn.at(end_min)}
        names = [self.name_of(person) for person, _skill in at.crew]
        return Sentence.of("fault.not_on_shift", names=names, count=len(names), **span)

    def _kiln_then(self, ref: str, start_min: int) -> Sentence:
        """Say that a kiln is not in the state that a job needs, and which charge is in it or next to it."""
        job = self.frame.jobs[self.frame.number_of_job[ref]]
        kiln = self.frame.number_of_kiln[job.kiln]
        of, starts, at = self.frame.kilns[kiln], self.state.starts[kiln], self.drawn.at
        end_min = start_min + job.duration_min
        span = {"kiln": job.kiln, "start_at": at(start_min), "end_at": at(end_min)}
        allowance = {"set_up_min": of.set_up_min, "restore_min": of.restore_min}
        if job.needs_state == "running":
            need = Sentence.of("fault.not_running", **span)
        elif job.needs_state == "empty":
            need = Sentence.of("fault.not_empty", **span, **allowance)
        else:
            need = Sentence.of("fault.not_stopped", **span, **allowance)
        for number, charge in enumerate(of.charges[:-1]):
            until_min = starts[number] + charge.length_min
            if starts[number] < end_min + of.restore_min and until_min > start_min - of.set_up_min:
                there = {"charge": self.charge(job.kiln, number), "start_at": at(starts[number])}
                return Sentence.of("fault.charge_in_it", need=need, **there, end_at=at(until_min))
        behind = next((n for n in range(len(of.charges)) if starts[n] >= end_min), None)
        if behind is not None and of.charges[behind].goes_on:
            return Sentence.of("fault.stands_with_its_charge", need=need, end_at=at(starts[behind]))
        return Sentence.of("fault.no_charge_in_it", need=need)
