"""Read a plan from its form "placing-plan/1" or "placing-plan/2", naming every fault with its place in the file."""

from __future__ import annotations

from plant.basics.sentences import Sentences, all_from_json

from .json_places import FaultyFileError, Reader, dotted
from .plan import Cost, Hopeless, PlacedJob, Plan, Stop, Unfinished, cost_parts_of, format_of

PLAN_FIELDS = ("format", "charge_starts", "stops", "jobs", "cost_cents", "bound_cents", "seconds")
UNFINISHED_FIELDS = ("format", "unfinished", "charge_starts", "stops", "jobs", "without_place")
STOP_FIELDS = ("kiln", "before_charge", "in_charge", "set_up_start_min", "end_min", "shift", "person")
#: Sums of costs may be larger than any single number of a problem.
MOST_CENTS = 10**18
JOB_FIELDS = ("start_min", "shift", "crew", "stop", "charge")


def read_plan(content: bytes) -> Plan | Unfinished | tuple[Hopeless, ...]:
    """Read a plan, the list of what makes one impossible, or what there is of one that was not found in time.

    Raises
    ------
    FaultyFileError
        with every fault found, each with its place in the file
    """
    reader = Reader(most=MOST_CENTS)
    top = reader.parse(content)
    form = next((one for one in (1, 2) if top.get("format") == format_of(one)), 0)
    answer: Plan | Unfinished | tuple[Hopeless, ...]
    if "impossible" in top:
        answer = _hopeless(reader, top, "impossible")
    elif "unfinished" in top:
        answer = _unfinished(reader, top, form)
    else:
        answer = _plan(reader, top, form)
    if not form:
        reader.wrong("format", f"is neither {format_of(1)!r} nor {format_of(2)!r}")
    if reader.faults:
        raise FaultyFileError(reader.faults)
    return answer


def _hopeless(reader: Reader, top: dict[str, object], name: str) -> tuple[Hopeless, ...]:
    found: list[Hopeless] = []
    for place, item in reader.items(top, name, ""):
        one = reader.fields(item, place, ("job", "rule", "said"), ("text",))
        if one is not None:
            job, rule = (reader.text(one, name, place) for name in ("job", "rule"))
            found.append(Hopeless(job, rule, _sentences(reader, one, place)))
    return tuple(found)


def _sentences(reader: Reader, one: dict[str, object], place: str) -> Sentences:
    try:
        return all_from_json(kept for _, kept in reader.items(one, "said", place))  # type: ignore[misc]
    except (AttributeError, KeyError, TypeError, ValueError):
        reader.wrong(dotted(place, "said"), "is not a list of sentences")
        return ()


def _unfinished(reader: Reader, top: dict[str, object], form: int) -> Unfinished:
    top = reader.fields(top, "", UNFINISHED_FIELDS) or {}
    if top.get("unfinished") is not True:
        reader.wrong("unfinished", "is not true")
    without_place = tuple(word for _, word in reader.words(top, "without_place", ""))
    return Unfinished(*_places(reader, top), without_place, form)


def _places(
    reader: Reader, top: dict[str, object]
) -> tuple[dict[str, tuple[int, ...]], tuple[Stop, ...], dict[str, PlacedJob]]:
    starts: dict[str, tuple[int, ...]] = {}
    by_kiln = reader.keyed(top.get("charge_starts", {}), "charge_starts") or {}
    for tag in by_kiln:
        items = reader.items(by_kiln, tag, "charge_starts")
        starts[tag] = tuple(reader.whole(item, where) for where, item in items)
    stops = tuple(_stop(reader, item, place) for place, item in reader.items(top, "stops", ""))
    jobs = reader.keyed(top.get("jobs", {}), "jobs") or {}
    return starts, stops, {ref: _job(reader, item, f"jobs.{ref}") for ref, item in jobs.items()}


def _plan(reader: Reader, top: dict[str, object], form: int) -> Plan:
    parts = cost_parts_of(form or 2)
    top = reader.fields(top, "", PLAN_FIELDS, ("cannot",) if form > 1 else ()) or {}
    starts, stops, placed = _places(reader, top)
    cents = reader.fields(top.get("cost_cents", {}), "cost_cents", (*parts, "total")) or {}
    seconds = top.get("seconds", 0.0)
    if isinstance(seconds, bool) or not isinstance(seconds, int | float) or not 0 <= seconds < float("inf"):
        reader.wrong("seconds", "is not a number of seconds")
        seconds = 0.0
    return Plan(
        charge_starts=starts,
        stops=stops,
        jobs=placed,
        cost=Cost(**{part: reader.number(cents, part, "cost_cents") for part in parts}),
        stated_total_cents=reader.number(cents, "total", "cost_cents"),
        bound_cents=reader.number(top, "bound_cents", ""),
        seconds=float(seconds),
        form=form,
        cannot=_hopeless(reader, top, "cannot") if form > 1 else (),
    )


def _index(reader: Reader, holder: dict[str, object], name: str, place: str) -> int | None:
    value = holder.get(name)
    return None if value is None else reader.whole(value, dotted(place, name), 0)


def _stop(reader: Reader, item: object, place: str) -> Stop:
    found = reader.fields(item, place, STOP_FIELDS, ("in_down",)) or {}
    return Stop(
        kiln=reader.text(found, "kiln", place),
        before_charge=_index(reader, found, "before_charge", place),
        in_charge=_index(reader, found, "in_charge", place),
        set_up_start_min=reader.number(found, "set_up_start_min", place),
        end_min=reader.number(found, "end_min", place),
        shift=reader.text(found, "shift", place),
        person=reader.text(found, "person", place),
        in_down=_index(reader, found, "in_down", place),
    )


def _job(reader: Reader, item: object, place: str) -> PlacedJob:
    found = reader.fields(item, place, JOB_FIELDS) or {}
    crew: list[tuple[str, str]] = []
    for where, member in reader.items(found, "crew", place):
        pair = reader.pair(member, where)
        if pair is not None:
            crew.append((reader.word(pair[0], f"{where}[0]"), reader.word(pair[1], f"{where}[1]")))
    return PlacedJob(
        start_min=reader.number(found, "start_min", place),
        shift=reader.text(found, "shift", place),
        crew=tuple(crew),
        stop=_index(reader, found, "stop", place),
        charge=_index(reader, found, "charge", place),
    )
