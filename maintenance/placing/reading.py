"""Read a placing problem from its forms "placing-problem/1" and "/2", naming every fault with its place in the file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction

from .json_places import MOST, Fault, FaultyFileError, Reader, dotted
from .problem import (
    CHARGE_MAY_COST,
    CHARGE_MAY_WAIT,
    CHARGE_NUMBERS,
    JOB_NUMBERS,
    KILN_NUMBERS,
    LOCKED_OUT,
    MOST_HORIZON_MIN,
    STATES,
    Charge,
    Down,
    Issued,
    Job,
    Kiln,
    Person,
    Problem,
    Shift,
)

FORMATS = {"placing-problem/1": 1, "placing-problem/2": 2}
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
DOWN_FIELDS = ("start_min", "end_min", "unloaded")
MONDAY = 0


@dataclass
class _Places:
    """Where in the file a kiln, a shift or a job stands, and the number of the form that the file says it has."""

    form: int = 1
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
        the problem, and remarks: fields that the first form does not know, and what a planner may not have meant

    Raises
    ------
    FaultyFileError
        with every fault found, each with its place in the file
    """
    reader = Reader()
    parsed = reader.parse(content)
    named = parsed.get("format")
    form = FORMATS.get(named, 0) if isinstance(named, str) else 0
    reader.knows_all = form > 1
    top = reader.fields(parsed, "", FIELDS, _of_second(form, "yard")) or {}
    if "format" in top and not form:
        reader.wrong("format", f"is neither {' nor '.join(map(repr, FORMATS))}")
    places = _Places(form)
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
        yard=_yard(reader, top) if form > 1 and "yard" in top else None,
        form=2 if form > 1 else 1,
    )
    _refer(reader, top, problem, places)
    _make_sense(reader, problem, places)
    if reader.faults:
        raise FaultyFileError(reader.faults)
    return problem, reader.remarks


def _of_second(form: int, *names: str) -> tuple[str, ...]:
    """Name fields that only the second form knows."""
    return names if form > 1 else ()


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


def _yard(reader: Reader, top: dict[str, object]) -> tuple[tuple[int, int], ...]:
    """Read the minutes in which timber is loaded and unloaded: ascending, each with a length."""
    yard = tuple(_spans(reader, top, "yard", ""))
    for index, (start_min, end_min) in enumerate(yard):
        if start_min == end_min:
            reader.wrong(f"yard[{index}]", f"has no length: it begins and ends at {start_min}")
        if index and start_min < (before_min := yard[index - 1][1]):
            reader.wrong(f"yard[{index}]", f"begins at {start_min}, before the one before it ends at {before_min}")
    if isinstance(top["yard"], list) and not any(end_min > max(0, start_min) for start_min, end_min in yard):
        reader.wrong("yard", "never opens from minute 0 on: leave the field out where the yard works at any time")
    return yard


def _kilns(reader: Reader, top: dict[str, object], places: _Places) -> Iterable[Kiln]:
    may_have = (*KILN_MAY_HAVE, *_of_second(places.form, "down"))
    for place, item in reader.items(top, "kilns", ""):
        found = reader.fields(item, place, ("tag", *KILN_NUMBERS, "charges"), may_have)
        if found is None:
            continue
        tag = _once(reader, "kiln", reader.text(found, "tag", place), dotted(place, "tag"), places, place)
        charges = tuple(_charges(reader, found, place, places.form))
        if not charges and "charges" in found:
            reader.wrong(dotted(place, "charges"), "has no charge; the last one stands at or after the horizon")
        values = {name: reader.number(found, name, place, 0) for name in KILN_NUMBERS}
        yield Kiln(
            tag=tag,
            charges=charges,
            inside=tuple(_inside(reader, found, place)),
            locked_out_by=reader.text(found, "locked_out_by", place),
            locked_out_min=reader.number(found, "locked_out_min", place, 0),
            down=tuple(_down(reader, found, place)) if places.form > 1 else (),
            **values,
        )


def _charges(reader: Reader, kiln: dict[str, object], place: str, form: int) -> Iterable[Charge]:
    least = dict.fromkeys(("start_min", "promised_end_min"), -MOST)
    second = _of_second(form, *CHARGE_MAY_WAIT, *CHARGE_MAY_COST)
    for where, item in reader.items(kiln, "charges", place):
        found = reader.fields(item, where, CHARGE_NUMBERS, ("goes_on", *second))
        if found is None:
            continue
        names = (*CHARGE_NUMBERS, *(name for name in second if name in found))
        values = {name: reader.number(found, name, where, least.get(name, 0)) for name in names}
        charge = Charge(**values, goes_on=_yes_or_no(reader, found, "goes_on", where))
        if charge.promised_end_min is not None and charge.promised_end_min < charge.start_min:
            words = f"{charge.promised_end_min} is before the start of the charge at {charge.start_min}"
            reader.wrong(dotted(where, "promised_end_min"), words)
        yield charge


def _down(reader: Reader, kiln: dict[str, object], place: str) -> Iterable[Down]:
    """Read the times in which a kiln stands, in any order; none overlaps another."""
    found: list[tuple[int, int, str]] = []
    for where, item in reader.items(kiln, "down", place):
        one = reader.fields(item, where, DOWN_FIELDS)
        if one is None:
            continue
        down = Down(
            start_min=reader.number(one, "start_min", where),
            end_min=reader.number(one, "end_min", where),
            unloaded=_yes_or_no(reader, one, "unloaded", where),
        )
        if down.end_min < down.start_min:
            reader.wrong(where, f"ends at {down.end_min}, before it begins at {down.start_min}")
        for start_min, end_min, other in found:
            if max(start_min, down.start_min) < min(end_min, down.end_min):
                reader.wrong(where, f"overlaps {other}: the kiln stands from {start_min} to {end_min} already")
        found.append((down.start_min, down.end_min, where))
        yield down


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
        found = reader.fields(item, place, own, _of_second(places.form, "keeps_margin"))
        if found is None:
            continue
        ref = _once(reader, "job", reader.text(found, "id", place), dotted(place, "id"), places, place)
        state = found.get("needs_state")
        if "needs_state" in found and state not in STATES:
            reader.wrong(dotted(place, "needs_state"), f"is not one of {', '.join(STATES)}")
        safety = _yes_or_no(reader, found, "safety", place)
        told_margin = places.form > 1 and "keeps_margin" in found
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
            keeps_margin=_yes_or_no(reader, found, "keeps_margin", place) if told_margin else None,
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
        place = places.of.get(("kiln", kiln.tag), "kilns")
        _charges_in_order(reader, problem, kiln, place)
        _leaves_places(reader, problem, kiln, place)
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


def _leaves_places(reader: Reader, problem: Problem, kiln: Kiln, place: str) -> None:
    """Remark upon a kiln that stands for good and a margin that nothing can keep: the plan goes on around them."""
    for index, down in enumerate(kiln.down):
        if down.start_min <= 0 and down.end_min >= problem.horizon_min:
            words = "stands from the first minute to the horizon: work for the running kiln has no place in it"
            reader.remarks.append(Fault(f"{place}.down[{index}]", words))
    for index, (charge, following) in enumerate(zip(kiln.charges, kiln.charges[1:], strict=False)):
        runs_min = charge.length_min - charge.loading_min - charge.cooling_min - charge.unloading_min
        opening_min = following.start_min - charge.start_min - charge.length_min
        if charge.margin_min > max(runs_min, opening_min, 0):
            words = (
                f"{charge.margin_min} minutes leave no place: the charge runs for {runs_min}, the opening behind it "
                f"lasts {opening_min}; what lies there pays for each minute short"
            )
            reader.remarks.append(Fault(f"{place}.charges[{index}].margin_min", words))


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
