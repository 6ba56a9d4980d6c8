"""Why a plan has a job where it is, or nowhere, in sentences about this mill."""

from collections import defaultdict
from collections.abc import Iterable, Iterator

from django.utils.text import get_text_list
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from maintenance.placing.frame import ANYWHERE
from maintenance.placing.offering import OF_THE_JOB, RULES, Missed, places_for, room_in, why_not, without_job
from maintenance.placing.reasons import Reason
from maintenance.plans.standing import Standing
from plant.basics.sentences import Sentence
from plant.frame.saying import say


def say_reason(standing: Standing, ref: str) -> str:
    """Say why a job is where it is, and why not sooner. Raises KeyError for a job that is not part of the plan."""
    return " ".join(_sentences(standing, standing.reason(ref)))


def _sentences(standing: Standing, reason: Reason) -> Iterable[str]:
    if reason.grouped_with:
        yield _("Shares a lock-out with %(jobs)s.") % {"jobs": get_text_list(list(reason.grouped_with), _("and"))}
    causes = [standing.put(cause.pattern, cause.values) for cause in reason.causes]
    if causes and reason.is_placed:
        yield _("Not sooner: %(causes)s.") % {"causes": "; ".join(causes)}
    elif causes:
        yield _("Has no place: %(causes)s.") % {"causes": "; ".join(causes)}
    if reason.sooner is not None and reason.is_placed and reason.sooner.more_cents > 0:
        values = (("at_min", reason.sooner.start_min), ("more_cents", reason.sooner.more_cents))
        yield standing.put(_("On {at_min} it would cost {more_cents} more."), values)
    elif reason.is_placed and not causes:
        yield _("As soon as it can be.") if reason.sooner is None else _("Sooner would cost the other jobs more.")


def say_how_early(standing: Standing, ref: str) -> str:
    """Say how long before or after its date a job is done, in days of the calendar."""
    job, at = standing.frame.jobs[standing.frame.number_of_job[ref]], standing.plan.jobs[ref]
    is_safety = job.safety or job.late_cents_per_hour > 0
    wanted_at, end_at = standing.drawn.at(job.latest_min if is_safety else job.due_min), at.start_min + job.duration_min
    zone = standing.drawn.zone
    days = (wanted_at.astimezone(zone).date() - standing.drawn.at(end_at).astimezone(zone).date()).days
    name = _("safety date") if is_safety else _("due date")
    if days > 0:
        words = ngettext("Done %(days)d day before its %(date)s.", "Done %(days)d days before its %(date)s.", days)
    elif days < 0:
        words = ngettext("Done %(days)d day after its %(date)s.", "Done %(days)d days after its %(date)s.", -days)
    else:
        words = _("Done on its %(date)s.")
    return words % {"days": abs(days), "date": name}


# --- why it has no place --------------------------------------------------------------------------


def say_missed(standing: Standing, missed: Missed) -> str:
    """Say what keeps a job from a place, and what would help."""
    told = [Sentence(missed.rule, tuple(standing.instants_in(missed.values).items()))]
    if missed.rule == "missed.skill":
        ended = standing.qualifications_that_end(str(dict(missed.values)["skill"]))
        told += [Sentence.of("missed.skill_ended", person=name, until_on=until_on) for name, until_on in ended]
        told += [] if ended else [Sentence.of("missed.skill_train")]
    return say(told)


def say_no_place(standing: Standing, ref: str) -> str:
    """Say of a job that has no place why, and what would help; the places that miss for one reason together."""
    frame = standing.frame
    job = frame.number_of_job[ref]
    kiln, of = frame.kiln_of[job], frame.jobs[job]
    state = without_job(standing.state, job)
    open_places = [one for one in places_for(frame, job) if one == ANYWHERE or not _is_over(standing, kiln, one)]
    if not open_places:
        match of.needs_state:
            case "running":
                return say(Sentence.of("missed.no_running", kiln=of.kiln))
            case "empty":
                return say(Sentence.of("missed.no_opening", kiln=of.kiln))
        return say(Sentence.of("missed.no_standstill", kiln=of.kiln))
    found: dict[str, list[tuple[Missed, int]]] = defaultdict(list)
    for place in open_places:
        missed = why_not(state, job, place)
        found[missed.rule].append((missed, place))
    return " ".join(_told(standing, job, found))


def _told(standing: Standing, job: int, found: dict[str, list[tuple[Missed, int]]]) -> Iterator[str]:
    frame = standing.frame
    for rule in sorted(found, key=RULES.index):
        nearest, _place = max(found[rule], key=lambda one: one[0].near)
        said = say_missed(standing, nearest)
        if rule in OF_THE_JOB or found[rule][0][1] == ANYWHERE:
            yield said
            continue
        kiln = frame.kiln_of[job]
        times = say_times([kind_of(standing, kiln, place) for _missed, place in found[rule]])
        yield _("%(times)s: %(why)s") % {"times": times, "why": said}
    rule = max(found, key=RULES.index)
    place = max(found[rule], key=lambda one: one[0].near)[1]
    if rule not in OF_THE_JOB and place != ANYWHERE:
        from_min, to_min = room_in(standing.state, frame.kiln_of[job], place)
        if from_min < to_min:
            start_at, end_at = standing.drawn.at(from_min), standing.drawn.at(to_min)
            yield say(Sentence.of("missed.nearest", start_at=start_at, end_at=end_at))


def _is_over(standing: Standing, kiln: int, place: int) -> bool:
    """Whether a place holds no time any more in which work could be done."""
    from_min, to_min = room_in(standing.state, kiln, place)
    return to_min <= max(from_min - standing.frame.set_up_min(kiln, place), 0)


def kind_of(standing: Standing, kiln: int, place: int) -> str:
    """Name what a place is: a running phase, an opening (empty), or a time at a standstill (still)."""
    return "running" if place % 2 else "empty" if standing.frame.is_empty(kiln, place) else "still"


def say_times(kinds: list[str]) -> str:
    """Count times of a kiln by what it does then."""
    count = len(kinds)
    match kinds[0] if len(set(kinds)) == 1 else "still":
        case "running":
            words = ngettext("%d running phase", "%d running phases", count)
        case "empty":
            words = ngettext("%d opening", "%d openings", count)
        case _:
            words = ngettext("%d opening or standstill", "%d openings or standstills", count)
    return words % count
