"""Why a plan has a job where it is, or nowhere, in sentences about this mill."""

from collections import defaultdict
from collections.abc import Iterable, Iterator

from maintenance.placing.frame import ANYWHERE
from maintenance.placing.offering import OF_THE_JOB, RULES, nearness, places_for, room_in, why_not, without_job
from maintenance.placing.places import is_in_charge
from maintenance.placing.reasons import Reason
from maintenance.plans.standing import Standing
from plant.basics.sentences import Sentence, Sentences


def say_reason(standing: Standing, ref: str) -> Sentences:
    """Say why a job is where it is, and why not sooner. Raises KeyError for a job that is not part of the plan."""
    return tuple(_sentences(standing, standing.reason(ref)))


def _sentences(standing: Standing, reason: Reason) -> Iterable[Sentence]:
    if reason.grouped_with:
        yield Sentence.of("place.grouped", jobs=reason.grouped_with)
    causes = [standing.told(cause.said) for cause in reason.causes]
    if causes:
        yield Sentence.of("place.not_sooner" if reason.is_placed else "place.none", causes=causes)
    if reason.sooner is not None and reason.is_placed and reason.sooner.money_cents > 0:
        at = standing.drawn.at(reason.sooner.start_min)
        yield Sentence.of("place.dearer_sooner", begin_at=at, more_cents=reason.sooner.money_cents)
    elif reason.is_placed and not causes:
        yield Sentence.of("place.soonest" if reason.sooner is None else "place.others_dearer")


def say_how_early(standing: Standing, ref: str) -> Sentence:
    """Say how long before or after its date a job is done, in days of the calendar."""
    job, at = standing.frame.jobs[standing.frame.number_of_job[ref]], standing.plan.jobs[ref]
    is_safety = job.safety or job.late_cents_per_hour > 0
    wanted_at, end_at = standing.drawn.at(job.latest_min if is_safety else job.due_min), at.start_min + job.duration_min
    zone = standing.drawn.zone
    days = (wanted_at.astimezone(zone).date() - standing.drawn.at(end_at).astimezone(zone).date()).days
    if days > 0:
        return Sentence.of("place.before_safety" if is_safety else "place.before_due", count=days)
    if days < 0:
        return Sentence.of("place.after_safety" if is_safety else "place.after_due", count=-days)
    return Sentence.of("place.on_safety" if is_safety else "place.on_due")


# --- why it has no place --------------------------------------------------------------------------


def say_missed(standing: Standing, missed: Sentence) -> Sentences:
    """Say what keeps a job from a place, and what would help."""
    told = [standing.told(missed)]
    if missed.code == "missed.skill":
        ended = standing.qualifications_that_end(str(missed["skill"]))
        told += [Sentence.of("missed.skill_ended", person=name, until_on=until_on) for name, until_on in ended]
        told += [] if ended else [Sentence.of("missed.skill_train")]
    return tuple(told)


def say_no_place(standing: Standing, ref: str) -> Sentences:
    """Say of a job that has no place why, and what would help; the places that miss for one reason together."""
    frame = standing.frame
    job = frame.number_of_job[ref]
    kiln, of = frame.kiln_of[job], frame.jobs[job]
    state = without_job(standing.state, job)
    open_places = [one for one in places_for(frame, job) if one == ANYWHERE or not _is_over(standing, kiln, one)]
    if not open_places:
        match of.needs_state:
            case "running":
                return (Sentence.of("missed.no_running", kiln=of.kiln),)
            case "empty":
                return (Sentence.of("missed.no_opening", kiln=of.kiln),)
        return (Sentence.of("missed.no_standstill", kiln=of.kiln),)
    found: dict[str, list[tuple[Sentence, int]]] = defaultdict(list)
    for place in open_places:
        missed = why_not(state, job, place)
        found[missed.code].append((missed, place))
    return tuple(_told(standing, job, found))


def _told(standing: Standing, job: int, found: dict[str, list[tuple[Sentence, int]]]) -> Iterator[Sentence]:
    frame = standing.frame
    for rule in sorted(found, key=RULES.index):
        nearest, _place = max(found[rule], key=lambda one: nearness(one[0]))
        said = say_missed(standing, nearest)
        if rule in OF_THE_JOB or found[rule][0][1] == ANYWHERE:
            yield from said
            continue
        kiln = frame.kiln_of[job]
        times = times_told([kind_of(standing, kiln, place) for _missed, place in found[rule]])
        yield Sentence.of("missed.in_times", times=times, why=said)
    rule = max(found, key=RULES.index)
    place = max(found[rule], key=lambda one: nearness(one[0]))[1]
    if rule not in OF_THE_JOB and place != ANYWHERE:
        from_min, to_min = room_in(standing.state, frame.kiln_of[job], place)
        if from_min < to_min:
            start_at, end_at = standing.drawn.at(from_min), standing.drawn.at(to_min)
            yield Sentence.of("missed.nearest", start_at=start_at, end_at=end_at)


def _is_over(standing: Standing, kiln: int, place: int) -> bool:
    """Whether a place holds no time any more in which work could be done."""
    from_min, to_min = room_in(standing.state, kiln, place)
    return to_min <= max(from_min - standing.frame.set_up_min(kiln, place), 0)


def kind_of(standing: Standing, kiln: int, place: int) -> str:
    """Name what a place is: a running phase, an opening (empty), or a time at a standstill (still)."""
    return "running" if is_in_charge(place) else "empty" if standing.frame.is_empty(kiln, place) else "still"


def times_told(kinds: list[str]) -> Sentence:
    """Count times of a kiln by what it does then."""
    count = len(kinds)
    match kinds[0] if len(set(kinds)) == 1 else "still":
        case "running":
            return Sentence.of("time.running", count=count)
        case "empty":
            return Sentence.of("time.openings", count=count)
    return Sentence.of("time.standstills", count=count)
