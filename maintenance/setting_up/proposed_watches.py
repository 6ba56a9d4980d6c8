"""What a new kiln may be watched for: the watches that ship and suit what such a kiln usually measures."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

from django.utils.translation import gettext as _

from maintenance.setting_up.calculations.make_up import Answers, Position, usual_channels
from maintenance.watches.calculations.rows import WatchSpec, for_kiln
from maintenance.watches.forms import RuleForm
from maintenance.watches.specs import channel_words, needed_quantities, shipped_specs
from maintenance.watches.words import sentence_to_come, spec_words
from plant.models import ComponentKind, Mill

# The number that decides when a watch speaks up, by the first of these names that its rule has.
DECIDING = ("limit", "per_hour", "minutes", "least_shift")


@dataclass(frozen=True)
class ProposedWatch:
    """A watch that may be kept: what it does, the kind that it suspects, and the positions of that kind it looks at."""

    spec: WatchSpec
    kind: ComponentKind
    serves: tuple[str, ...]

    def is_wanted(self, chosen: Collection[str], position_tags: Collection[str]) -> bool:
        """Say whether it is chosen and what it suspects is there."""
        return self.spec.code in chosen and (not self.serves or any(tag in position_tags for tag in self.serves))


def proposed_watches(answers: Answers, wanted: Sequence[Position]) -> tuple[ProposedWatch, ...]:
    """Return the watches that suit what is usually measured in such a chamber, of the kinds that are on record."""
    specs = for_kiln(shipped_specs(), usual_channels(answers))
    kinds = ComponentKind.objects.in_bulk({spec.component_kind for spec in specs}, field_name="code")
    return tuple(
        ProposedWatch(spec, kinds[spec.component_kind], _served(spec, wanted))
        for spec in specs
        if spec.component_kind in kinds
    )


def _served(spec: WatchSpec, wanted: Sequence[Position]) -> tuple[str, ...]:
    """Return the positions that a watch suspects: the one at its place, else all of the kind."""
    mates = [one for one in wanted if one.kind == spec.component_kind]
    beside = [one for one in mates if spec.place and spec.place in (one.side, str(one.number))]
    return tuple(one.tag for one in beside or mates)


def watch_row(one: ProposedWatch, mill: Mill, typed: str | None, *, is_ticked: bool) -> dict[str, Any]:
    """Return what the page shows of a proposed watch: why, its rule, the number that may be changed, what it needs."""
    form, name = RuleForm(spec=one.spec, mill=mill), _deciding(one.spec)
    return {
        "proposed": one,
        "is_ticked": is_ticked,
        "says": sentence_to_come(one.spec, mill),
        "rule": spec_words(one.spec, mill),
        "number": _shown(form, name) if typed is None else typed,
        "label": form.fields[name].label,
        "needs": channel_words(needed_quantities(one.spec)),
    }


def own_numbers(
    watches: Sequence[ProposedWatch], mill: Mill, typed: Mapping[str, str]
) -> tuple[dict[str, dict[str, Any]], list[str]]:
    """Return the parameters of watches for which another number was typed, by code, and what cannot be.

    Where a watch is over moves along with its limit.
    """
    found: dict[str, dict[str, Any]] = {}
    faults = []
    for one in watches:
        form, name = RuleForm(spec=one.spec, mill=mill), _deciding(one.spec)
        text, shown = typed.get(one.spec.code, "").strip(), _shown(form, name)
        if text == shown:
            continue
        data = {field: made.initial for field, made in form.fields.items()} | {name: text}
        if name == "limit" and "clear" in data:
            data["clear"] = round(data["clear"] + _moved(text, shown), 6)
        filled = RuleForm(data, spec=one.spec, mill=mill)
        if text and filled.is_valid():
            found[one.spec.code] = filled.parameters()
        else:
            said = " ".join(str(error) for errors in filled.errors.values() for error in errors)
            told = {"watch": one.spec.name, "number": form.fields[name].label, "fault": said}
            faults.append(_("%(watch)s, %(number)s: write a number, or untick it. %(fault)s") % told)
    return found, faults


def _deciding(spec: WatchSpec) -> str:
    there = {field.name for field in fields(spec.rule)}
    return next(name for name in DECIDING if name in there)


def _shown(form: RuleForm, name: str) -> str:
    return str(form.fields[name].initial)


def _moved(text: str, shown: str) -> float:
    """Return how far a limit was moved, nought where no number was typed."""
    try:
        return float(text) - float(shown)
    except ValueError:
        return 0.0
