"""What a job's page in a plan shows: where it is and why, what keeps it from sooner, and what a wish would cost."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from threading import Lock

from django.utils import timezone
from django.utils.text import get_text_list
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from maintenance.frame.words import hours_words, money_words, say_needed_state, time_words
from maintenance.placing.obstacles import smallest_obstacles
from maintenance.placing.problem import Job
from maintenance.placing.reasons import Sooner
from maintenance.placing.wishes import Price, Wish, price_of
from maintenance.plans.plan_words import SKILLS
from maintenance.plans.seen_plan import amount
from maintenance.plans.standing import Standing
from plant import clock
from plant.basics.sentences import Sentence
from plant.frame.saying import say
from plant.models import Mill

#: A wish is given so long, the loading of the solver aside.
WISH_SECONDS = 1.4
#: One wish is worked out at a time in a process; another waits for so long.
WAIT_SECONDS = 4.0
_one_at_a_time = Lock()


@dataclass(frozen=True)
class Placed:
    """Where a job is: when, by whom, and the lock-out it lies in."""

    start_at: datetime
    end_at: datetime
    people: str
    where: str
    locked_by: str = ""
    locked_at: datetime | None = None
    ready_at: datetime | None = None


@dataclass(frozen=True)
class Way:
    """A way to have a job sooner with everything else held: when, by whom, what it costs more, and what it takes."""

    start_at: datetime
    #: None where it stands against a promise, which has no price in money: a safety job that is left out.
    more: Decimal | None
    people: str
    takes: tuple[str, ...]
    #: As the form of a wish has it; empty for a start that is over by now.
    asked_at: str

    @property
    def less(self) -> Decimal | None:
        """Give what it costs less."""
        return None if self.more is None else -self.more


@dataclass(frozen=True)
class Why:
    """All that is said about one job in a plan."""

    job: Job
    placed: Placed | None
    causes: tuple[tuple[Sentence, int], ...]
    own: Decimal | None
    caused: Decimal | None
    grouped_with: tuple[str, ...]
    ways: tuple[Way, ...]
    obstacles: tuple[tuple[tuple[str, str], ...], ...]
    is_pinned: bool
    due_at: datetime
    latest_at: datetime

    @property
    def state(self) -> str:
        """Say in which state the kiln must be."""
        return say_needed_state(self.job.needs_state)

    @property
    def is_only_too_dear(self) -> bool:
        """Whether there is room for a job that is left out, which costs more than leaving it out."""
        return self.obstacles == ((),)


def why_of(standing: Standing, ref: str, mill: Mill) -> Why:
    """Say why a job is where it is in a plan. Raises KeyError for a job that is not part of it."""
    frame, drawn = standing.frame, standing.drawn
    job = frame.jobs[frame.number_of_job[ref]]
    reason = standing.reason(ref)
    obstacles: tuple[tuple[tuple[str, str], ...], ...] = ()
    if not reason.is_placed:
        sets = smallest_obstacles(drawn.problem, standing.plan, ref)
        obstacles = tuple(tuple(_obstacle_words(name, job) for name in one) for one in sets)
    return Why(
        job=job,
        placed=_placed(standing, job) if reason.is_placed else None,
        causes=tuple((standing.told(one.said), one.shifts) for one in reason.causes),
        own=amount(reason.own_cents),
        caused=amount(max(reason.caused_cents, 0)),
        grouped_with=reason.grouped_with,
        ways=tuple(_way(standing, job, one, is_placed=reason.is_placed) for one in reason.ways),
        obstacles=obstacles,
        is_pinned=ref in drawn.problem.pinned,
        due_at=drawn.at(job.due_min),
        latest_at=drawn.at(job.latest_min),
    )


def _way(standing: Standing, job: Job, way: Sooner, *, is_placed: bool) -> Way:
    start_at = standing.drawn.at(way.start_min)
    takes = []
    if way.interrupts is not None:
        charge = standing.charge_name(job.kiln, way.interrupts)
        takes.append(_("%(charge)s is interrupted for it") % {"charge": charge})
    if way.charges_later_min > 0:
        later = hours_words(way.charges_later_min)
        takes.append(_("a charge of %(kiln)s begins %(later)s later") % {"kiln": job.kiln, "later": later})
    if way.overtime_min > 0:
        takes.append(_("with %(time)s of overtime") % {"time": hours_words(way.overtime_min)})
    if way.late_min < 0:
        takes.append(_("%(time)s less after its safety date") % {"time": hours_words(-way.late_min)})
    return Way(
        start_at=start_at,
        more=amount(way.money_cents) if is_placed or not job.late_cents_per_hour else None,
        people=get_text_list(sorted({standing.name_of(person) for person in way.people}), _("and")),
        takes=tuple(takes),
        asked_at=timezone.localtime(start_at).strftime("%Y-%m-%dT%H:%M") if start_at > clock.now() else "",
    )


def _placed(standing: Standing, job: Job) -> Placed:
    plan, drawn = standing.plan, standing.drawn
    at = plan.jobs[job.ref]
    names = sorted({standing.name_of(person) for person, _skill in at.crew})
    span = (drawn.at(at.start_min), drawn.at(at.start_min + job.duration_min))
    people = get_text_list(names, _("and"))
    if at.stop is not None:
        stop = plan.stops[at.stop]
        if stop.in_charge is not None:
            where = _("while %(charge)s is interrupted for it") % {
                "charge": standing.charge_name(stop.kiln, stop.in_charge)
            }
        elif stop.before_charge:
            where = _("in the opening after %(charge)s") % {
                "charge": standing.charge_name(stop.kiln, stop.before_charge - 1)
            }
        else:
            where = _("in the opening of %(kiln)s that is there now") % {"kiln": stop.kiln}
        return Placed(
            *span,
            people,
            where,
            locked_by=standing.name_of(stop.person),
            locked_at=drawn.at(stop.set_up_start_min),
            ready_at=drawn.at(stop.end_min),
        )
    if at.charge is not None:
        return Placed(*span, people, _("during %(charge)s") % {"charge": standing.charge_name(job.kiln, at.charge)})
    return Placed(*span, people, _("in whatever state %(kiln)s is then") % {"kiln": job.kiln})


def crew_words(job: Job) -> str:
    """Name the people a job asks for."""
    named = ((say(SKILLS[skill]) if skill in SKILLS else skill, count) for skill, count in job.crew if count)
    return ", ".join(f"{count} × {skill}" for skill, count in named)


def _obstacle_words(name: str, job: Job) -> tuple[str, str]:
    """Say a cause for which a job has no place, and what to do about it."""
    facts = {"kiln": job.kiln, "crew": crew_words(job), "state": say_needed_state(job.needs_state)}
    before = get_text_list([ref for ref, _lag in job.after], _("and"))
    said = {
        "other work": (
            _("Other work has the people or the opening then."),
            _("Let one of the other jobs wait, or give this one its place by hand."),
        ),
        "parts": (_("Its parts come too late."), _("Bring the delivery forward.")),
        "earliest": (_("It is not wanted before a day that leaves no room."), _("Change the day it is wanted from.")),
        "after": (
            _("It waits for %(jobs)s, without a place in time.") % {"jobs": before},
            _("Give %(jobs)s a place first.") % {"jobs": before},
        ),
        "latest": (
            _("Its safety date comes too soon."),
            _("Interrupt the charge, or have whoever answers for the date move it."),
        ),
        "crew": (
            _("Nobody with its skills (%(crew)s) is on shift, and qualified, while it could be done.") % facts,
            _("Put people with these skills on shift then, or renew a qualification that ends before."),
        ),
        "state": (
            _("%(kiln)s is never %(state)s for long enough.") % facts,
            _("See what it costs to keep the kiln for work."),
        ),
    }
    return said[name]


# --- wishes ---------------------------------------------------------------------------------------


class BusyError(Exception):
    """Raised where another wish is being worked out."""


def wish_of(standing: Standing, ref: str, way: str, at: datetime) -> Wish:
    """Put a wish into the minutes of the problem."""
    minute = standing.drawn.minute(at)
    if way == "by":
        return Wish(ref, until_min=minute)
    if way == "from":
        return Wish(ref, from_min=minute)
    return Wish(ref, minute, minute + standing.frame.jobs[standing.frame.number_of_job[ref]].duration_min)


def price_wish(standing: Standing, wish: Wish) -> Price:
    """Work out what a wish costs. Raises BusyError where another one is being worked out."""
    if not _one_at_a_time.acquire(timeout=WAIT_SECONDS):
        raise BusyError
    try:
        return price_of(standing.drawn.problem, standing.plan, wish, WISH_SECONDS)
    finally:
        _one_at_a_time.release()


def wish_words(price: Price, standing: Standing, wish: Wish, mill: Mill) -> tuple[str, ...]:
    """Answer a wish: what it costs, what is proven about that, when it would be, and what else moves."""
    if price.impossible:
        return tuple(say(map(standing.told, one.said)) for one in price.impossible)
    if price.is_met:
        return (_("It is so already: it costs nothing more."),)
    said = [_cost_words(price, mill)]
    if price.start_min is None:
        said.append(_("It would be cheapest to leave it out then."))
    else:
        at = time_words(standing.drawn.at(price.start_min), mill)
        said.append(_("It would begin %(at)s.") % {"at": at})
    if price.moved:
        words = ngettext("For that %(jobs)s moves.", "For that %(jobs)s move.", len(price.moved))
        said.append(words % {"jobs": _listed(price.moved)})
    if price.is_whole:
        said.append(_("All kilns were placed anew with it."))
    else:
        words = ngettext(
            "%(kilns)s was placed anew with it; all other kilns stay as they are.",
            "%(kilns)s were placed anew with it; all other kilns stay as they are.",
            len(price.kilns),
        )
        said.append(words % {"kilns": get_text_list(list(price.kilns), _("and"))})
    spared = price.most_cents - price.against_plan_cents
    if price.is_exact and spared > 0:
        said.append(
            _("Placing them anew would save %(money)s in any case, wish or not: work out a plan.")
            % {"money": money_words(spared, mill)}
        )
    return tuple(said)


def _cost_words(price: Price, mill: Mill) -> str:
    """Say the exact price where it is proven; else what the plan that was found costs more than this one."""
    if price.is_exact:
        facts = {"most": money_words(abs(price.most_cents), mill)}
        if price.most_cents == 0:
            return _("It costs nothing more: that is proven.")
        if price.most_cents < 0:
            return _("It saves exactly %(most)s: that is proven.") % facts
        return _("It costs exactly %(most)s more: that is proven.") % facts
    facts = {
        "most": money_words(price.against_plan_cents, mill),
        "least": money_words(price.least_cents, mill),
    }
    if price.against_plan_cents <= 0:
        return _("It need cost nothing more than now; how much it could save was not proven in the time given.")
    if price.least_cents > 0:
        return _("It costs at most %(most)s more than now, and at least %(least)s.") % facts
    return _("It costs at most %(most)s more than now; that it costs less was not ruled out in the time given.") % facts


def _listed(refs: Sequence[str], most: int = 6) -> str:
    shown = list(refs[:most])
    if len(refs) > most:
        shown.append(ngettext("%d other", "%d others", len(refs) - most) % (len(refs) - most))
    return str(get_text_list(shown, _("and")))
