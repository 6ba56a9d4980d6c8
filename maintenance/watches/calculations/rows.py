"""Watches as rows of text: what each looks at, by which rule, what it suspects and what comes of it when it fires."""

import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import MISSING, dataclass, fields, replace
from typing import Final, Literal, cast, get_args, get_type_hints

from maintenance.losses.price_of_waiting import KINDS
from maintenance.watches.calculations.drift_charts import Drift
from maintenance.watches.calculations.rule_kinds import (
    Disagreement,
    KOfN,
    Limit,
    Message,
    MomentRule,
    NoData,
    RateOfChange,
    RunningSince,
)
from maintenance.watches.calculations.trends import Trend
from plant.readings.calculations.charge_figures import check_figure, figure_places, is_figure_served
from plant.readings.calculations.climate_frame import PHASE_CODES
from plant.readings.calculations.climate_signals import check_signal, is_served, places_of

Rule = MomentRule | Drift | Trend
Severity = Literal["notice", "work_order"]

RULES: Final[dict[str, type[Rule]]] = {
    "limit": Limit,
    "k_of_n": KOfN,
    "disagreement": Disagreement,
    "rate_of_change": RateOfChange,
    "no_data": NoData,
    "message": Message,
    "running_since": RunningSince,
    "drift": Drift,
    "trend": Trend,
}
"""What a watch's rule is called, and the dataclass of its numbers. Drift and trend look at figures of charges only."""

COLUMNS: Final = (
    "code", "name", "signal", "rule", "parameters", "phases", "component_kind", "failure_modes", "severity",
    "agrees_within_days", "task_sheet", "sentence", "loss_kind", "due_days", "safety_days", "source", "source_status",
)  # fmt: skip
SENTENCE_FIELDS: Final = {"place", "value", "limit", "unit", "since", "charges", "day"}
"""What a sentence may have in braces: where, the worst value, the rule's limit and their unit, since when; of drift
and trend also over how many charges, and the day on which the limit will be crossed."""

ANY_PLACE: Final = ":*"
MOST_DAYS: Final = 3650
_CODE = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
_PLACEHOLDER = re.compile(r"\{([^{}]*)\}")


@dataclass(frozen=True, slots=True)
class WatchSpec:
    """One watch.

    ``signal`` is a code of `plant.readings.calculations.climate_signals`, a difference of two of them (``a - b``), or
    for drift and trend a code of `plant.readings.calculations.charge_figures`; it ends in ``:*`` where the watch stands
    for every place that a kiln has. Without ``phases`` it looks at all of them. ``failure_modes`` has the most
    likely first.
    """

    code: str
    name: str
    signal: str
    rule: Rule
    phases: tuple[str, ...] = ()
    component_kind: str = ""
    failure_modes: tuple[str, ...] = ()
    severity: Severity = "notice"
    agrees_within_days: int = 0
    task_sheet: str = ""
    sentence: str = ""
    loss_kind: str = ""
    due_days: int = 0
    safety_days: int | None = None
    source: str = ""
    source_status: str = ""

    @property
    def rule_name(self) -> str:
        """Return what the rule is called in a row."""
        return next(name for name, kind in RULES.items() if kind is type(self.rule))

    @property
    def is_per_charge(self) -> bool:
        """Whether it looks at figures of charges instead of moments."""
        return isinstance(self.rule, Drift | Trend)

    @property
    def place(self) -> str:
        """Return the place in the kiln of which the signal speaks; empty where it speaks of none."""
        return self.signal.rpartition(":")[2] if ":" in self.signal and " - " not in self.signal else ""


class WatchError(ValueError):
    """Rows of watches that cannot be used; ``faults`` names every one with its row."""

    def __init__(self, faults: Sequence[str]) -> None:
        super().__init__("; ".join(faults))
        self.faults = tuple(faults)


def parse_watches(rows: Iterable[Mapping[str, str]]) -> tuple[WatchSpec, ...]:
    """Read watches from rows of text with the columns `COLUMNS`.

    Lists (``phases``, ``failure_modes``) are parted by semicolons, parameters are written ``limit=2; hold_minutes=30``.
    Whether component kinds, failure modes and task sheets exist is for the caller to check: that is data of the mill.

    Raises
    ------
    WatchError
        Names every row at fault and why.
    """
    specs: list[WatchSpec] = []
    faults: list[str] = []
    seen: set[str] = set()
    for number, row in enumerate(rows, start=1):
        code = (row.get("code") or "").strip()
        try:
            spec = parse_watch(row)
            if code in seen:
                raise ValueError("the code stands in an earlier row too")
            seen.add(code)
            specs.append(spec)
        except ValueError as error:
            faults.append(f"row {number} ({code or 'no code'}): {error}")
    if faults:
        raise WatchError(faults)
    return tuple(specs)


def parse_watch(row: Mapping[str, str]) -> WatchSpec:
    """Read one watch from a row of text.

    Raises
    ------
    ValueError
        Says what is wrong with it.
    """
    missing = [name for name in COLUMNS if row.get(name) is None]
    if missing:
        raise ValueError(f"the row lacks {', '.join(missing)}")
    text = {name: row[name].strip() for name in COLUMNS}
    if not _CODE.fullmatch(text["code"]) or len(text["code"]) > 48:
        raise ValueError(f"code {text['code']!r} is not made of a-z, 0-9 and hyphens, at most 48 long")
    for name in ("name", "sentence", "component_kind"):
        if not text[name]:
            raise ValueError(f"{name} is empty")
    spec = WatchSpec(
        code=text["code"],
        name=text["name"],
        signal=text["signal"],
        rule=rule_from(text["rule"], parameters_from_text(text["parameters"])),
        phases=_listed(text["phases"]),
        component_kind=text["component_kind"],
        failure_modes=_listed(text["failure_modes"]),
        severity=_severity(text["severity"]),
        agrees_within_days=_days("agrees_within_days", text["agrees_within_days"]),
        task_sheet=text["task_sheet"],
        sentence=text["sentence"],
        loss_kind=text["loss_kind"],
        due_days=_days("due_days", text["due_days"]),
        safety_days=_days("safety_days", text["safety_days"]) if text["safety_days"] else None,
        source=text["source"],
        source_status=text["source_status"],
    )
    check(spec)
    return spec


def check(spec: WatchSpec) -> None:
    """Refuse a watch that looks at something unknown or says something it cannot know.

    Raises
    ------
    ValueError
        Says what is wrong with it.
    """
    if spec.is_per_charge:
        check_figure(spec.signal.replace(ANY_PLACE, ":1"))
    else:
        check_signal(spec.signal.replace(ANY_PLACE, ":1"))
    unknown = [phase for phase in spec.phases if phase not in PHASE_CODES]
    if unknown:
        raise ValueError(f"phase {unknown[0]!r} is not known; known are {', '.join(PHASE_CODES)}")
    strange = sorted(set(_PLACEHOLDER.findall(spec.sentence)) - SENTENCE_FIELDS)
    if strange:
        raise ValueError(f"the sentence has {{{strange[0]}}}; it may have {', '.join(sorted(SENTENCE_FIELDS))}")
    if spec.loss_kind and spec.loss_kind not in KINDS:
        raise ValueError(f"loss kind {spec.loss_kind!r} is not known; known are {', '.join(KINDS)}")


def for_kiln(specs: Iterable[WatchSpec], channel_keys: Iterable[str]) -> tuple[WatchSpec, ...]:
    """Choose the watches that a kiln's channels can serve, one for each place where a watch speaks of every place.

    Returns
    -------
    tuple[WatchSpec, ...]
        With concrete signals; code and name carry the place where there are several.
    """
    keys = frozenset(channel_keys)
    chosen: list[WatchSpec] = []
    for spec in specs:
        stem = spec.signal.removesuffix(ANY_PLACE)
        if stem != spec.signal:
            places = figure_places(stem, keys) if spec.is_per_charge else places_of(stem, keys)
            chosen += [_at_place(spec, stem, place) for place in places]
        elif is_figure_served(stem, keys) if spec.is_per_charge else is_served(stem, keys):
            chosen.append(spec)
    return tuple(chosen)


def _at_place(spec: WatchSpec, stem: str, place: str) -> WatchSpec:
    if not place:
        return replace(spec, signal=stem)
    return replace(spec, code=f"{spec.code}-{place}", name=f"{spec.name} ({place})", signal=f"{stem}:{place}")


def rule_from(name: str, parameters: Mapping[str, object]) -> Rule:
    """Make a rule from its name and parameters (text, numbers or lists, as a row or a JSON object has them).

    Raises
    ------
    ValueError
        For a rule or parameter that does not exist, one that is missing, or a value that is out of place.
    """
    if name not in RULES:
        raise ValueError(f"rule {name!r} is not known; known are {', '.join(RULES)}")
    kind = RULES[name]
    hints = get_type_hints(kind)
    known = {field.name: field for field in fields(kind)}
    strange = [one for one in parameters if one not in known]
    if strange:
        raise ValueError(f"rule {name} has no parameter {strange[0]!r}; it has {', '.join(known)}")
    for one, field in known.items():
        if one not in parameters and field.default is MISSING:
            raise ValueError(f"rule {name} lacks the parameter {one!r}")
    make: Callable[..., Rule] = kind
    return make(**{one: _typed(one, value, hints[one]) for one, value in parameters.items()})


def rule_parameters(rule: Rule) -> dict[str, object]:
    """Return a rule's parameters as JSON can keep them."""
    found = ((field.name, getattr(rule, field.name)) for field in fields(rule))
    return {name: list(value) if isinstance(value, tuple) else value for name, value in found if value is not None}


def parameters_from_text(text: str) -> dict[str, object]:
    """Read ``limit=2; hold_minutes=30``.

    Raises
    ------
    ValueError
        Where a part has no equals sign or a name stands twice.
    """
    found: dict[str, object] = {}
    for part in _listed(text):
        name, sign, value = (piece.strip() for piece in part.partition("="))
        if not sign or not name or not value:
            raise ValueError(f"parameter {part!r} is not written name=value")
        if name in found:
            raise ValueError(f"parameter {name!r} stands twice")
        found[name] = value
    return found


def _typed(name: str, value: object, hint: object) -> object:
    choices = get_args(hint)
    if choices and all(isinstance(choice, str) for choice in choices):
        if value not in choices:
            raise ValueError(f"{name} {value!r} is none of {', '.join(choices)}")
        return value
    if hint == tuple[int, ...]:
        parts = value.split() if isinstance(value, str) else value
        if not isinstance(parts, list | tuple):
            raise ValueError(f"{name} {value!r} is no list of whole numbers")
        return tuple(_whole(name, part) for part in parts)
    if hint is int or int in choices:
        return _whole(name, value)
    return _number(name, value)


def _number(name: str, value: object) -> float:
    try:
        number = float(value) if isinstance(value, str | int | float) and not isinstance(value, bool) else math.nan
    except (ValueError, OverflowError):
        number = math.nan
    if not abs(number) <= 1e9:
        raise ValueError(f"{name} {str(value)[:40]!r} is no number between -1e9 and 1e9")
    return number


def _whole(name: str, value: object) -> int:
    number = _number(name, value)
    if number != int(number):
        raise ValueError(f"{name} {value!r} is no whole number")
    return int(number)


def _days(name: str, text: str) -> int:
    days = _whole(name, text)
    if not 0 <= days <= MOST_DAYS:
        raise ValueError(f"{name} {days} is outside 0 to {MOST_DAYS}")
    return days


def _severity(text: str) -> Severity:
    if text in get_args(Severity):
        return cast(Severity, text)
    raise ValueError(f"severity {text!r} is neither notice nor work_order")


def _listed(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split(";") if part.strip())
