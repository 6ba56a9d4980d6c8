"""A task sheet or a check point as its page shows it, the present version and earlier ones alike: from its content."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.models import PartKind
from maintenance.models import Caution, CheckPoint, cautions
from maintenance.models.catalogue import NeedsState
from maintenance.models.cautions import ALWAYS, STATE_OF_LOOK
from maintenance.sheets.calculations.differences import Difference
from maintenance.sheets.content import Content
from maintenance.sheets.forms import INTERVAL_UNITS
from plant.frame.figures import DASH
from plant.models import ComponentKind, Skill

#: What is different, in words; the names are those of a content.
NAMES = {
    "title": gettext_lazy("Title"),
    "what": gettext_lazy("What is looked at"),
    "kind": gettext_lazy("Kind of component"),
    "needs_state": gettext_lazy("Needs the kiln"),
    "hours": gettext_lazy("Hours"),
    "crew": gettext_lazy("People"),
    "purpose": gettext_lazy("Purpose"),
    "is_safety": gettext_lazy("Safety work"),
    "is_proof_test": gettext_lazy("Proof test"),
    "every": gettext_lazy("Usually recurs every"),
    "every_unit": gettext_lazy("Of what"),
    "skills": gettext_lazy("Skills"),
    "steps": gettext_lazy("Step"),
    "parts": gettext_lazy("Part"),
    "cautions": gettext_lazy("Caution"),
    "source": gettext_lazy("Where it comes from"),
    "source_status": gettext_lazy("How sure that is"),
    "seen_in": gettext_lazy("Can be seen with the kiln"),
    "method": gettext_lazy("How to look"),
    "criterion": gettext_lazy("Sound when"),
    "per": gettext_lazy("Is asked for"),
    "end_view_no": gettext_lazy("Number in the end view"),
    "blocks_entry": gettext_lazy("A fault keeps everybody out"),
    "substitute": gettext_lazy("Where it cannot be seen, look at"),
    "substitute_when": gettext_lazy("When that is"),
    "interval_text": gettext_lazy("How often"),
    "interval_days": gettext_lazy("At the latest after so many days"),
    "interval_is": gettext_lazy("That interval is"),
}
CHOICES: dict[str, dict[str, Any]] = {
    "needs_state": dict(NeedsState.choices),
    "seen_in": dict(CheckPoint.SeenIn.choices),
    "per": dict(CheckPoint.Per.choices),
    "interval_is": dict(CheckPoint.IntervalIs.choices),
    "every_unit": dict(INTERVAL_UNITS),
}
ESCAPE_DOOR = "escape-door"
_MODELS = {
    "kind": (ComponentKind, "name"),
    "skills": (Skill, "name"),
    "parts": (PartKind, "name"),
    "cautions": (Caution, "title"),
    "substitute": (CheckPoint, "what"),
}


@dataclass(frozen=True)
class SeenDifference:
    """One thing that is different, in words."""

    name: str
    was: str
    now: str


@dataclass(frozen=True)
class SeenStep:
    """A step, with its reading in words."""

    no: int
    text: str
    reading: str
    is_required: bool


class Names:
    """What codes are called; one query for each kind of thing that is asked for."""

    def __init__(self) -> None:
        self._known: dict[str, dict[str, str]] = {}

    def of(self, name: str, code: str) -> str:
        """Return what a code is called; the code itself where nothing has it any more."""
        if name not in self._known:
            model, field = _MODELS[name]
            self._known[name] = dict(model._default_manager.values_list("code", field))
        return self._known[name].get(code, code)


def seen_sheet(content: Content, names: Names) -> dict[str, Any]:
    """Return a task sheet for its template."""
    unit = CHOICES["every_unit"].get(content["every_unit"], "")
    return {
        "content": content,
        "kind": names.of("kind", content["kind"]),
        "needs_state": CHOICES["needs_state"][content["needs_state"]],
        "every": f"{content['every']} {unit}" if content["every"] else "",
        "skills": [f"{count} × {names.of('skills', code)}" for code, count in content["skills"].items()],
        "steps": [SeenStep(step["no"], step["text"], _reading(step), step["is_required"]) for step in content["steps"]],
        "parts": [f"{amount} × {names.of('parts', code)}" for code, amount in content["parts"].items()],
        "cautions": _cautions(content, content["needs_state"]),
        "door_warning": door_warning(content["kind"], content["needs_state"]),
    }


def door_warning(kind: str, needs_state: str) -> str:
    """Say what it means to work on a door while the kiln runs; empty for any other work. ``kind`` is a code."""
    if needs_state not in (NeedsState.RUNNING, NeedsState.ANY):
        return ""
    if not ComponentKind.objects.filter(Q(group=ComponentKind.Group.DOORS) | Q(code=ESCAPE_DOOR), code=kind).exists():
        return ""
    return _(
        "Work on a door while the kiln runs: hot damp air comes out of a door that is opened or loosened, and who "
        "stands there is scalded. At the running kiln the doors stay shut and are only looked at. Where the work "
        "opens, loosens or moves a door, it needs the kiln open and empty, or stopped."
    )


def seen_point(content: Content, names: Names) -> dict[str, Any]:
    """Return a check point for its template."""
    return {
        "content": content,
        "kind": names.of("kind", content["kind"]),
        **{name: CHOICES[name][content[name]] for name in ("seen_in", "per", "interval_is")},
        "substitute": names.of("substitute", content["substitute"]) if content["substitute"] else "",
        "cautions": _cautions(content, STATE_OF_LOOK[content["seen_in"]]),
    }


def _cautions(content: Content, state: str) -> list[Caution]:
    """Return the cautions as whoever does the work will read them, those that the state brings among them."""
    found = Caution.objects.filter(code__in={*content["cautions"], *ALWAYS[state]}).general_first()
    return cautions.that_hold(found, state)


def _reading(step: Content) -> str:
    if not step["reading_name"]:
        return ""
    words = {"name": step["reading_name"], "unit": step["reading_unit"], "low": step["low"], "high": step["high"]}
    if step["low"] and step["low"] == step["high"]:
        return _("%(name)s: %(low)s %(unit)s") % words
    if step["low"] and step["high"]:
        return _("%(name)s: %(low)s to %(high)s %(unit)s") % words
    if step["low"]:
        return _("%(name)s: not below %(low)s %(unit)s") % words
    if step["high"]:
        return _("%(name)s: not above %(high)s %(unit)s") % words
    return (_("%(name)s in %(unit)s") if step["reading_unit"] else _("%(name)s")) % words


def seen_differences(found: Iterable[Difference], names: Names) -> list[SeenDifference]:
    """Say what is different."""
    return [
        SeenDifference(_name(one, names), _value(one.name, one.was, names), _value(one.name, one.now, names))
        for one in found
    ]


def _name(one: Difference, names: Names) -> str:
    name = str(NAMES.get(one.name, one.name))
    if one.name == "steps":
        return f"{name} {one.key}"
    return f"{name}: {names.of(one.name, one.key)}" if one.key else name


def _value(name: str, value: Any, names: Names) -> str:
    if value in (None, ""):
        return DASH
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if name == "steps":
        reading = _reading(value)
        words = [value["text"], f"({reading})" if reading else "", "" if value["is_required"] else _("may be left out")]
        return " ".join(filter(None, words))
    if name in CHOICES:
        return str(CHOICES[name].get(value, value))
    if name == "cautions":
        return _("yes")
    if name in ("kind", "substitute"):
        return names.of(name, value)
    return str(value)
