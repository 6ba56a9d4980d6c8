"""Read a placing problem from its form "placing-problem/1", naming every fault with its place in the file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction

from .json_places import MOST, Fault, FaultyFileError, Reader, dotted
from .problem import (
    CHARGE_NUMBERS,
    JOB_NUMBERS,
    KILN_NUMBERS,
    LOCKED_OUT,
    MOST_HORIZON_MIN,
    STATES,
    Charge,
    Issued,
    Job,
    Kiln,
    Person,
    Problem,
    Shift,
)

FORMAT = "placing-problem/1"
FIELDS = (
    "format",
    "origin",
    "horizon_min",
    "max_delay_min",
    "overtime_cents_per_person_hour",
    "kilns",
    "people",
    "shifts",
    "jobs",
    "issued",
    "move_cents",
    "pinned",
)
#: What a kiln may have besides.
KILN_MAY_HAVE = ("inside", "locked_out_by", "locked_out_min")
MONDAY = 0


@dataclass
class _Places:
    """Where in the file a kiln, a shift or a job stands."""

    of: dict[tuple[str, str], str] = field(default_factory=dict)

    def __call__(self, kind: str, ref: str) -> str:
        return self.of[kind, ref]


def read_problem(content: bytes) -> tuple[Problem, list[Fault]]:
    """Read a problem.

    Parameters
    ----------
    content : bytes
        the file, JSON in UTF-8

    Returns
    -------
    tuple[Problem, list[Fault]]
        the problem, and remarks on what was passed over (fields that the form does not know)

    Raises
    ------
    FaultyFileError
        with every fault found, each with its place in the file
    """
    reader = Reader()
    top = reader.fields(reader.parse(content), "", FIELDS) or {}
    if top.get("format", FORMAT) != FORMAT:
        reader.wrong("format", f"is not {FORMAT!r}")
    places = _Places()
    problem = Problem(
        origin=_origin(reader, top),
        horizon_min=reader.number(top, "horizon_min", "", 1),
        max_delay_min=reader.number(top, "max_delay_min", "", 0),
        overtime_cents_per_person_hour=reader.number(top, "overtime_cents_per_person_hour", "", 0),
        kilns=tuple(_kilns(reader, top, places)),
        people=tuple(_people(reader, top)),
        shifts=tuple(_shifts(reader, top, places)),
        jobs=tuple(_jobs(reader, top, places)),
        issued=_issued(reader, top),
        move_cents=reader.number(top, "move_cents", "", 0),
        pinned=frozenset(word for _, word in reader.words(top, "pinned", "")),
    )
    _refer(reader, top, problem, places)
    _make_sense(reader, problem, places)
    if reader.faults:
        raise FaultyFileError(reader.faults)
    return problem, reader.remarks


def _origin(reader: Reader, top: dict[str, object]) -> date:
    try:
        origin = date.fromisoformat(reader.text(top, "origin", ""))
    except ValueError:
        if "origin" in top:
            reader.wrong("origin", "is not a date like 2026-03-02")
        return date(2000, 1, 3)
    if origin.weekday() != MONDAY:
        reader.remarks.append(Fault("origin", "is not a Monday; minutes are counted from it all the same"))
    return origin


def _spans(reader: Reader, holder: dict[str, object], name: str, place: str) -> Iterable[tuple[int, int]]:
    for where, item in reader.items(holder, name, place):
        pair = reader.pair(item, where)
        if pair is not None:
            start_min, end_min = reader.whole(pair[0], f"{where}[0]"), reader.whole(pair[1], f"{where}[1]")
            if end_min < start_min:
                reader.wrong(where, f"ends at {end_min}, before it begins at {start_min}")
            yield start_min, end_min


def _kilns(reader: Reader, top: dict[str, object], places: _Places) -> Iterable[Kiln]:
    for place, item in reader.items(top, "kilns", ""):
        found = reader.fields(item, place, ("tag", *KILN_NUMBERS, "charges"), KILN_MAY_HAVE)
        if found is None:
            continue
        tag = _once(reader, "kiln", reader.text(found, "tag", place), dotted(place, "tag"), places, place)
        charges = []
        for where, charge in reader.items(found, "charges", place):
            numbers = reader.fields(charge, where, CHARGE_NUMBERS, ("goes_on",))
            if numbers is not None:
                least = dict.fromkeys(CHARGE_NUMBERS[1:], 0)
                values = {name: reader.number(numbers, name, where, least.get(name, -MOST)) for name in CHARGE_NUMBERS}
                charges.append(Charge(**values, goes_on=_yes_or_no(reader, numbers, "goes_on", where)))
        if not charges and "charges" in found:
            reader.wrong(dotted(place, "charges"), "has no charge; the last one stands at or after the horizon")
        values = {name: reader.number(found, name, place, 0) for name in KILN_NUMBERS}
        yield Kiln(
            tag=tag,
            charges=tuple(charges),
            inside=tuple(_inside(reader, found, place)),
            locked_out_by=reader.text(found, "locked_out_by", place),
            locked_out_min=reader.number(found, "locked_out_min", place, 0),
            down=(),
            **values,
        )


def _inside(reader: Reader, found: dict[str, object], place: str) -> Iterable[tuple[int, int, int]]:
    for where, item in reader.items(found, "inside", place):
        if not isinstance(item, list) or len(item) != 3:
            reader.wrong(where, "is not a list of from, to and how many")
            continue
        start_min, end_min, count = (
            reader.whole(one, f"{where}[{n}]", 0 if n == 2 else -MOST) for n, one in enumerate(item)
        )
        if end_min < start_min:
            reader.wrong(where, f"ends at {end_min}, before it begins at {start_min}")
        yield start_min, end_min, count


def _yes_or_no(reader: Reader, found: dict[str, object], name: str, place: str) -> bool:
    value = found.get(name, False)
    if not isinstance(value, bool):
        reader.wrong(dotted(place, name), "is neither true nor false")
    return value is True


def _once(reader: Reader, kind: str, ref: str, at: str, places: _Places, place: str) -> str:
    if ref and (kind, ref) in places.of:
        reader.wrong(at, f"{ref!r} is there already, at {places(kind, ref)}")
    elif ref:
        places.of[kind, ref] = place
    return ref


def _people(reader: Reader, top: dict[str, object]) -> Iterable[Person]:
    places = _Places()
    for place, item in reader.items(top, "people", ""):
        found = reader.fields(item, place, ("id", "skills", "away"))
        if found is not None:
            ref = _once(reader, "person", reader.text(found, "id", place), dotted(place, "id"), places, place)
            skills = frozenset(word for _, word in reader.words(found, "skills", place))
            yield Person(ref, skills, tuple(_spans(reader, found, "away", place)))


def _shifts(reader: Reader, top: dict[str, object], places: _Places) -> Iterable[Shift]:
    names = ("id", "start_min", "end_min", "overtime_end_min", "people")
    for place, item in reader.items(top, "shifts", ""):
        found = reader.fields(item, place, names)
        if found is None:
            continue
        ref = _once(reader, "shift", reader.text(found, "id", place), dotted(place, "id"), places, place)
        start_min, end_min, overtime_end_min = (reader.number(found, name, place) for name in names[1:4])
        if not start_min <= end_min <= overtime_end_min:
            reader.wrong(
                place, f"runs from {start_min} to {end_min}, overtime to {overtime_end_min}: not in this order"
            )
        yield Shift(
            ref, start_min, end_min, overtime_end_min, tuple(word for _, word in reader.words(found, "people", place))
        )


def _jobs(reader: Reader, top: dict[str, object], places: _Places) -> Iterable[Job]:
    names = ("id", "kiln", "needs_state", "crew", "safety", "after", *JOB_NUMBERS)
    free_to_be_negative = ("earliest_min", "parts_min", "due_min", "latest_min")
    for place, item in reader.items(top, "jobs", ""):
        is_daily = isinstance(item, dict) and "delay_cents_per_day" in item
        own = tuple("delay_cents_per_day" if is_daily and name == "delay_cents_per_hour" else name for name in names)
        found = reader.fields(item, place, own)
        if found is None:
            continue
        ref = _once(reader, "job", reader.text(found, "id", place), dotted(place, "id"), places, place)
        state = found.get("needs_state")
        if "needs_state" in found and state not in STATES:
            reader.wrong(dotted(place, "needs_state"), f"is not one of {', '.join(STATES)}")
        safety = _yes_or_no(reader, found, "safety", place)
        crew = reader.keyed(found["crew"], dotted(place, "crew")) if "crew" in found else None
        values = {
            name: reader.number(found, name, place, -MOST if name in free_to_be_negative else 0)
            for name in own
            if name in JOB_NUMBERS or name == "delay_cents_per_day"
        }
        delay = Fraction(values.pop("delay_cents_per_day"), 24) if is_daily else values.pop("delay_cents_per_hour")
        yield Job(
            ref=ref,
            kiln=reader.text(found, "kiln", place),
            needs_state=next((one for one in STATES if one == state), "any"),
            crew=tuple((skill, reader.number(crew or {}, skill, dotted(place, "crew"), 0)) for skill in crew or {}),
            safety=safety,
            delay_cents_per_hour=delay,
            after=tuple(_after(reader, found, place)),
            keeps_margin=None,
            **values,
        )


def _after(reader: Reader, found: dict[str, object], place: str) -> Iterable[tuple[str, int]]:
    for where, item in reader.items(found, "after", place):
        pair = reader.pair(item, where)
        if pair is not None:
            yield reader.word(pair[0], f"{where}[0]"), reader.whole(pair[1], f"{where}[1]", 0)


def _issued(reader: Reader, top: dict[str, object]) -> dict[str, Issued]:
    found: dict[str, Issued] = {}
    for ref, item in ((reader.keyed(top["issued"], "issued") or {}) if "issued" in top else {}).items():
        place = dotted("issued", ref)
        one = reader.fields(item, place, ("start_min", "people"))
        if one is not None:
            people = frozenset(word for _, word in reader.words(one, "people", place))
            found[ref] = Issued(reader.number(one, "start_min", place), people)
    return found


def _refer(reader: Reader, top: dict[str, object], problem: Problem, places: _Places) -> None:
    """What is named must exist."""
    people = {one.ref for one in problem.people}
    for kiln in problem.kilns:
        place = dotted(places.of.get(("kiln", kiln.tag), "kilns"), "locked_out_by")
        _known(reader, [kiln.locked_out_by], people, place, "person")
    kilns = {one.tag for one in problem.kilns}
    jobs = {one.ref for one in problem.jobs}
    for shift in problem.shifts:
        _known(reader, shift.people, people, f"{places.of.get(('shift', shift.ref), 'shifts')}.people", "person")
    for job in problem.jobs:
        place = places.of.get(("job", job.ref), "jobs")
        _known(reader, [job.kiln], kilns, dotted(place, "kiln"), "kiln")
        _known(reader, [ref for ref, _ in job.after], jobs, dotted(place, "after"), "job")
    _known(reader, problem.issued, jobs, "issued", "job")
    for ref, issued in problem.issued.items():
        _known(reader, sorted(issued.people), people, f"issued.{ref}.people", "person")
    for where, ref in Reader().words(top, "pinned", ""):
        if ref not in jobs:
            reader.wrong(where, f"{ref!r} is no job of this file")
        elif ref not in problem.issued:
            reader.wrong(where, f"{ref!r} is pinned but not in “issued”, so that nobody knows where")


def _known(reader: Reader, refs: Iterable[str], known: set[str], place: str, kind: str) -> None:
    for ref in refs:
        if ref and ref not in known:
            reader.wrong(place, f"{ref!r} is no {kind} of this file")


def _make_sense(reader: Reader, problem: Problem, places: _Places) -> None:
    if problem.horizon_min > MOST_HORIZON_MIN:
        reader.wrong("horizon_min", f"{problem.horizon_min} minutes are more than a year ({MOST_HORIZON_MIN})")
    for kiln in problem.kilns:
        _charges_in_order(reader, problem, kiln, places.of.get(("kiln", kiln.tag), "kilns"))
    limits = {kiln.tag: kiln.max_people_inside for kiln in problem.kilns}
    skills = Counter(skill for person in problem.people for skill in person.skills)
    longest = max((shift.overtime_end_min - shift.start_min for shift in problem.shifts), default=0)
    for job in problem.jobs:
        place = places.of.get(("job", job.ref), "jobs")
        if job.duration_min > longest:
            reader.wrong(
                dotted(place, "duration_min"), f"{job.duration_min} minutes are longer than any shift ({longest})"
            )
        for skill, count in job.crew:
            if count and not skills[skill]:
                # The job alone cannot be placed; the others can.
                reader.remarks.append(Fault(f"{place}.crew.{skill}", "is a skill nobody has: the job is left out"))
        if job.needs_state in LOCKED_OUT and job.crew_size > limits.get(job.kiln, job.crew_size):
            words = f"{job.crew_size} people would be inside kiln {job.kiln}, {limits[job.kiln]} may: it is left out"
            reader.remarks.append(Fault(dotted(place, "crew"), words))
    for circle in _circles(problem.jobs):
        place = dotted(places.of.get(("job", circle[0]), "jobs"), "after")
        reader.wrong(place, f"is a circle: {' waits for '.join([*circle, circle[0]])}")


def _charges_in_order(reader: Reader, problem: Problem, kiln: Kiln, place: str) -> None:
    for index, (charge, following) in enumerate(zip(kiln.charges, kiln.charges[1:], strict=False)):
        end_min = charge.start_min + charge.length_min
        if end_min > following.start_min:
            reader.wrong(
                f"{place}.charges[{index + 1}].start_min",
                f"{following.start_min} overlaps charge {index}, which ends at {end_min}",
            )
    if kiln.charges and kiln.charges[-1].start_min < problem.horizon_min:
        reader.wrong(
            f"{place}.charges[{len(kiln.charges) - 1}].start_min",
            f"{kiln.charges[-1].start_min} is before the horizon; the last charge stands at or after it",
        )


def _circles(jobs: Iterable[Job]) -> list[list[str]]:
    """Find circles of jobs that wait for each other, each named once."""
    waits = {job.ref: [ref for ref, _ in job.after] for job in jobs}
    done: set[str] = set()
    circles: list[list[str]] = []
    for root in waits:
        path: list[str] = []
        on_path: dict[str, int] = {}
        stack: list[tuple[str, int]] = [(root, 0)]
        while stack:
            ref, step = stack.pop()
            if step == 0:
                if ref in done:
                    continue
                on_path[ref] = len(path)
                path.append(ref)
            following = waits.get(ref, [])
            if step < len(following):
                stack.append((ref, step + 1))
                target = following[step]
                if target in on_path:
                    circles.append(path[on_path[target] :])
                elif target not in done:
                    stack.append((target, 0))
            else:
                done.add(ref)
                path.pop()
                del on_path[ref]
    return circles
