"""Put on record what a mill begins with: itself, and its kilns."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from maintenance.loading.loader import load_catalogue
from maintenance.recurring.editing import make_standing_task
from maintenance.setting_up.proposing import Proposal, ProposedTask
from maintenance.watches.settings import begin_watches
from plant.access import require
from plant.models import Change, Component, ComponentKind, Kiln, Mill, User


@transaction.atomic
def begin_mill(values: Mapping[str, Any], *, by: User | None) -> Mill:
    """Name the mill of an empty database, and bring the product's catalogue in. Raises ValidationError for a second."""
    require(by, "edit mill")
    # Two who begin at once: one database holds one mill.
    list(User.objects.select_for_update().filter(pk=by.pk) if by else ())
    if Mill.objects.exists():
        raise ValidationError(_("The mill is on record already. Change it in its settings."), code="begun")
    mill = Mill.objects.create(**values)
    if not ComponentKind.objects.exists():
        load_catalogue()
    Change.record(mill, "put on record", by=by, after={name: str(value) for name, value in values.items()})
    return mill


@dataclass(frozen=True)
class Choice:
    """What somebody chose of what is proposed.

    ``intervals`` holds, by the key of each task that is wanted, every how many of its unit it recurs; ``watch_codes``
    the watches that are wanted, ``own_numbers`` the parameters of those that shall look by others than the shipped.
    """

    position_tags: Collection[str]
    intervals: Mapping[str, int]
    watch_codes: Collection[str] = ()
    own_numbers: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)


@transaction.atomic
def make_kiln(kiln: Kiln, proposal: Proposal, choice: Choice, *, by: User | None) -> Kiln:
    """Put a new kiln on record with the positions, recurring tasks and watches that were chosen.

    A task or watch that serves only positions that were not chosen is left away. Raises ValidationError where nothing
    was chosen.
    """
    require(by, "edit kilns")
    chosen = [one for one in proposal.positions if one.position.tag in choice.position_tags]
    if not chosen:
        raise ValidationError(_("A kiln without a single component cannot be looked after: leave at least one."))
    kiln.save()
    parts: dict[str, Component] = {}
    for one in chosen:
        parts[one.position.tag] = Component.objects.create(
            kiln=kiln, kind=one.kind, tag=one.position.tag, name=one.name, side=one.position.side
        )
    told = {"components": len(parts), "usable_m3": str(kiln.usable_m3)}
    Change.record(kiln, "put on record", by=by, after=told)
    for wanted in proposal.tasks:
        if wanted.key in choice.intervals and any(tag in parts for tag in wanted.serves):
            _make_task(wanted, kiln, parts, choice.intervals[wanted.key], by)
    watches = [one.spec for one in proposal.watches if one.is_wanted(choice.watch_codes, parts)]
    begin_watches(kiln, watches, choice.own_numbers, by=by)
    return kiln


def _make_task(wanted: ProposedTask, kiln: Kiln, parts: Mapping[str, Component], every: int, by: User | None) -> None:
    task = wanted.task
    for name in ("every", "every_running_h", "every_charges"):
        if getattr(task, name):
            setattr(task, name, every)
    there = [parts[tag] for tag in wanted.serves if tag in parts]
    task.kiln, task.component = kiln, there[0] if len(there) == 1 else None
    make_standing_task(task, by=by)
