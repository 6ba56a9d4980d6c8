"""A plan in the words of the records: names, local times, and what it breaks as sentences about this mill."""

from collections.abc import Iterable
from datetime import date, datetime
from functools import cached_property

from django.db.models import Case, Value, When
from django.utils.text import get_text_list
from django.utils.translation import gettext as _

from maintenance.frame.words import time_words, value_words
from maintenance.models.catalogue import NeedsState
from maintenance.placing import plan as plans
from maintenance.placing.checking import Broken
from maintenance.placing.problem import LOCK_OUT
from maintenance.placing.standing import Move
from maintenance.placing.state import State
from maintenance.plans.drawing import Drawn, person_id_of
from plant.models import Charge, Mill, Person, Qualification


class PlanWords:
    """Says what there is of a plan; ``plan`` is the one that is meant where no other is named."""

    def __init__(self, drawn: Drawn, state: State, plan: plans.Plan) -> None:
        self.drawn, self.state, self.frame, self.plan = drawn, state, state.frame, plan

    def name_of(self, person_ref: str) -> str:
        """Return a person's name."""
        return self._names.get(person_id_of(person_ref), person_ref)

    @cached_property
    def _mill(self) -> Mill:
        return Mill.objects.current()

    @cached_property
    def _names(self) -> dict[str, str]:
        return {str(pk): name for pk, name in Person.objects.values_list("pk", "name")}

    @cached_property
    def charges(self) -> dict[int, Charge]:
        """Return the charges of the problem, and the last of each kiln before it."""
        ids = {one for ids in self.drawn.charge_ids.values() for one in ids} | {*self.drawn.last_charge_ids.values()}
        return Charge.objects.only("number", "end_at").in_bulk([one for one in ids if one is not None])

    def charge_name(self, tag: str, index: int) -> str:
        """Name a charge of the problem as the mill does."""
        ids = self.drawn.charge_ids.get(tag, ())
        charge = self.charges.get(ids[index] or 0) if index < len(ids) else None
        if charge is not None:
            return _("charge %(number)s of %(kiln)s") % {"number": charge.number, "kiln": tag}
        return _("the end of %(kiln)s's programme") % {"kiln": tag}

    def instants_in(self, values: Iterable[tuple[str, str | int]]) -> dict[str, str | int | datetime]:
        """Put instants into the values of a sentence of the placing, which counts in minutes."""
        return {
            name: self.drawn.at(value) if name.endswith(("_at", "_on")) and isinstance(value, int) else value
            for name, value in values
        }

    @cached_property
    def _qualifications_that_end(self) -> list[tuple[str, str, date | None]]:
        until_on = self.drawn.at(self.frame.problem.horizon_min).date()
        held = Qualification.objects.filter(person__is_active=True, valid_until__lt=until_on).order_by("valid_until")
        named = Case(When(skill__code=LOCK_OUT, then=Value(LOCK_OUT)), default="skill__name")
        return list(held.annotate(named=named).values_list("named", "person__name", "valid_until"))

    def qualifications_that_end(self, skill: str) -> list[tuple[str, date]]:
        """Name the people whose qualification for a skill has an end before the horizon, with that day."""
        return [(name, on) for named, name, on in self._qualifications_that_end if named == skill and on is not None]

    def say(self, broken: Broken, ref: str, plan: plans.Plan) -> str:
        """Say a broken rule as a sentence about this mill."""
        where = broken.where
        if where.startswith("stop "):
            subject = self._stop_name(where, plan)
        elif ", charge " in where:
            tag, _comma, index = where.rpartition(", charge ")
            subject = self.charge_name(tag, int(index))
        else:
            subject = where
        if broken.rule == "away" and (until_min := self._at_work_until(dict(broken.values)["person"], where, plan)):
            facts = {"name": self.name_of(str(dict(broken.values)["person"])), "until": self._time(until_min)}
            return _("%(name)s is at work that is under way until %(until)s.") % facts
        text = self.put(broken.pattern, broken.values, plan)
        said = f"{subject} {text}"
        if broken.pattern.startswith("{"):
            said = text if where == ref or broken.rule == "two places" else f"{subject}: {text}"
        return said[:1].upper() + said[1:] + "."

    def _at_work_until(self, person: str | int, ref: str, plan: plans.Plan) -> int | None:
        """Return until when somebody is at work that is under way while a job lasts."""
        at = plan.jobs.get(ref)
        if at is None:
            return None
        end_min = at.start_min + self.frame.jobs[self.frame.number_of_job[ref]].duration_min
        spans = self.drawn.at_work.get(person_id_of(str(person)), ())
        return next((end for start, end in spans if start < end_min and at.start_min < end), None)

    def put(self, pattern: str, values: Iterable[tuple[str, str | int]], plan: plans.Plan | None = None) -> str:
        """Put names and local times into a sentence of the calculations."""
        return pattern.format(**{name: self._value(name, value, plan or self.plan) for name, value in values})

    def sentence(self, pattern: str, values: Iterable[tuple[str, str | int]]) -> str:
        """Put names and local times into a sentence of the calculations, and let it begin with a capital letter."""
        said = self.put(pattern, values)
        return said[:1].upper() + said[1:]

    def _value(self, name: str, value: str | int, plan: plans.Plan) -> str:
        if name.endswith(("_min", "_cents")):
            return value_words(name, value, self.drawn.at, self._mill)
        if name == "person":
            return self.name_of(str(value))
        if name == "shift":
            return self._shift_name(str(value))
        if name in ("job", "other") and str(value).startswith("stop "):
            return self._stop_name(str(value), plan)
        return str(value)

    def _time(self, minute: int) -> str:
        return time_words(self.drawn.at(minute), self._mill)

    def _shift_name(self, ref: str) -> str:
        number = self.frame.number_of_shift.get(ref)
        if number is None:
            return ref
        shift = self.frame.shifts[number]
        end_at = self.drawn.at(shift.end_min).astimezone(self.drawn.zone)
        return _("from %(start)s to %(end)s") % {"start": self._time(shift.start_min), "end": f"{end_at:%H:%M}"}

    def _stop_name(self, where: str, plan: plans.Plan) -> str:
        number = int(where.removeprefix("stop "))
        if number >= len(plan.stops):
            return where
        stop = plan.stops[number]
        return _("the lock-out of %(kiln)s on %(at)s") % {"kiln": stop.kiln, "at": self._time(stop.set_up_start_min)}

    def _faults(self, ref: str, move: Move) -> Iterable[str]:
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
                yield self.say(one, ref, move.plan)

    def _nobody_locks_out(self, stop: plans.Stop) -> str:
        of = self.frame.kilns[self.frame.number_of_kiln[stop.kiln]]
        span = {
            "start": self._time(stop.set_up_start_min),
            "end": self._time(stop.set_up_start_min + of.set_up_min),
        }
        words = _("Nobody who may lock %(kiln)s out is on shift from %(start)s to %(end)s.")
        return words % {"kiln": stop.kiln, **span}

    def _not_on_shift(self, ref: str, at: plans.PlacedJob) -> str:
        """Say that its people are not on one shift for as long as a job takes."""
        end_min = at.start_min + self.frame.jobs[self.frame.number_of_job[ref]].duration_min
        names = get_text_list([self.name_of(person) for person, _skill in at.crew], _("and"))
        span = {"start": self._time(at.start_min), "end": self._time(end_min), "names": names}
        if len(at.crew) < 2:
            return _("%(names)s is not on shift from %(start)s to %(end)s, overtime included.") % span
        return _("%(names)s are not on a shift together from %(start)s to %(end)s, overtime included.") % span

    def _kiln_then(self, ref: str, start_min: int) -> str:
        """Say that a kiln is not in the state that a job needs, and which charge is in it or next to it."""
        job = self.frame.jobs[self.frame.number_of_job[ref]]
        kiln = self.frame.number_of_kiln[job.kiln]
        of, starts = self.frame.kilns[kiln], self.state.starts[kiln]
        end_min = start_min + job.duration_min
        said = {
            "kiln": job.kiln,
            "state": NeedsState(job.needs_state).label,
            "start": self._time(start_min),
            "end": self._time(end_min),
        }
        need = _("%(kiln)s is not %(state)s from %(start)s to %(end)s") % said
        if job.needs_state != "running":
            allowance = {"set_up": of.set_up_min, "restore": of.restore_min}
            need += _(", with %(set_up)d min to lock out before and %(restore)d min to restore behind") % allowance
        for number, charge in enumerate(of.charges[:-1]):
            until_min = starts[number] + charge.length_min
            if starts[number] < end_min + of.restore_min and until_min > start_min - of.set_up_min:
                there = {
                    "charge": self.charge_name(job.kiln, number),
                    "start": self._time(starts[number]),
                    "end": self._time(until_min),
                }
                return _("%(need)s: %(charge)s is in it from %(start)s to %(end)s.") % {"need": need, **there}
        return _("%(need)s: no charge is in it.") % {"need": need}
