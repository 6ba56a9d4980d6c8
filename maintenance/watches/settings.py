"""Watches of a kiln: given the set that ships, switched on and off, copied with other numbers."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.text import slugify
from django.utils.translation import gettext as _

from maintenance.models import TaskSheet, Watch
from maintenance.watches.calculations.rows import WatchSpec, check, for_kiln, rule_from, rule_parameters
from maintenance.watches.specs import channel_keys, shipped_specs, spec_of, unsuited_why
from plant import clock
from plant.access import require
from plant.basics.periods import to_epoch_s
from plant.models import Change, Channel, Component, ComponentKind, Kiln, User

# What may be changed on a watch of one's own, beside its name and the numbers of its rule.
CHANGEABLE = ("severity", "phases", "sentence", "due_days", "safety_days", "agrees_within_days")
# A change of these makes another rule of it, which cannot go on from what the old one carried.
LOOKS_BY = ("signal", "rule", "parameters", "phases")


@dataclass(frozen=True, slots=True)
class Unsuited:
    """A watch of the catalogue that a kiln's channels cannot serve, and why."""

    code: str
    name: str
    why: str


@dataclass(frozen=True, slots=True)
class SetUp:
    """What came of giving a kiln the set that ships."""

    watches: tuple[Watch, ...]
    new: int
    changed: int
    unsuited: tuple[Unsuited, ...]


@transaction.atomic
def set_up_watches(kiln: Kiln, *, by: User | None, switched_on: bool = False) -> SetUp:
    """Give a kiln the watches that ship and suit its channels; those it has are brought up to date.

    New ones are switched off unless ``switched_on``: each should be tried on the past first. A second call changes
    nothing. Whoever wants other numbers makes a copy.
    """
    require(by, "set watches")
    kiln = Kiln.objects.select_for_update().get(pk=kiln.pk)
    keys, specs = channel_keys(kiln), shipped_specs()
    why = {spec.code: unsuited_why(spec, keys, kiln) for spec in specs}
    suited = for_kiln([spec for spec in specs if not why[spec.code]], keys)
    known = {watch.code: watch for watch in Watch.objects.select_for_update().filter(kiln=kiln, is_shipped=True)}
    fields = _Fields(kiln)
    watches, new, changed = [], 0, 0
    for spec in suited:
        wanted = fields.of(spec)
        watch = known.get(spec.code)
        if watch is not None and spec.task_sheet in fields.withdrawn:
            # Whoever withdrew the sheet said by which the watch goes on.
            wanted["sheet"] = watch.sheet
        if watch is None:
            watch = Watch.objects.create(kiln=kiln, is_shipped=True, **wanted)
            Change.record(watch, "set up", by=by)
            new += 1
            if switched_on:
                watch = switch_on(watch, by=by)
        elif _bring_up_to_date(watch, wanted):
            changed += 1
        watches.append(watch)
    unsuited = tuple(Unsuited(spec.code, spec.name, why[spec.code]) for spec in specs if why[spec.code])
    return SetUp(tuple(watches), new, changed, unsuited)


@transaction.atomic
def begin_watches(
    kiln: Kiln, specs: Sequence[WatchSpec], own_numbers: Mapping[str, Mapping[str, Any]], *, by: User | None
) -> list[Watch]:
    """Put watches of the catalogue on record for a new kiln whose channels are still to be named; switched off.

    ``own_numbers`` holds, by code, the parameters of those that shall look by other numbers than the shipped ones: each
    is a watch of the mill's own. Raises ValidationError where its rule cannot work with them.
    """
    require(by, "set watches")
    fields = _Fields(kiln)
    watches = []
    for spec in specs:
        watch = Watch(kiln=kiln, is_shipped=spec.code not in own_numbers, **fields.of(spec))
        if not watch.is_shipped:
            _say_copied(watch, spec.name)
            _take(watch, own_name(spec.name), own_numbers[spec.code], {})
            watch.code = _free_code(kiln, watch.name)
        watch.save()
        Change.record(watch, "set up", by=by)
        watches.append(watch)
    return watches


def _sheets_in_use() -> dict[str, TaskSheet]:
    """Return code -> task sheet; for one that the mill has withdrawn its own copy, where there is one."""
    sheets = {}
    for sheet in TaskSheet.objects.in_use().select_related("copied_from"):
        sheets[sheet.code] = sheet
        if sheet.copied_from and sheet.copied_from.is_withdrawn:
            sheets.setdefault(sheet.copied_from.code, sheet)
    return sheets


class _Fields:
    """Turns what the catalogue says into the fields of a kiln's watch."""

    def __init__(self, kiln: Kiln) -> None:
        self.kiln = kiln
        self.kinds = {kind.code: kind for kind in ComponentKind.objects.all()}
        self.sheets = _sheets_in_use()
        gone = TaskSheet.objects.filter(withdrawn_at__isnull=False)
        self.withdrawn = frozenset(gone.values_list("code", flat=True))
        self.components = list(kiln.components.in_use().order_by("tag"))
        self.channels = list(Channel.objects.filter(kiln=kiln, is_active=True))

    def of(self, spec: WatchSpec) -> dict[str, Any]:
        kind = self.kinds[spec.component_kind]
        return {
            "code": spec.code,
            "name": spec.name,
            "signal": spec.signal,
            "rule": spec.rule_name,
            "parameters": rule_parameters(spec.rule),
            "phases": list(spec.phases),
            "severity": spec.severity,
            "component_kind": kind,
            "component": self._suspect(spec, kind),
            "failure_modes": list(spec.failure_modes),
            "sheet": self.sheets.get(spec.task_sheet),
            "sentence": spec.sentence,
            "loss_kind": spec.loss_kind,
            "due_days": spec.due_days,
            "safety_days": spec.safety_days,
            "agrees_within_days": spec.agrees_within_days,
            "source": spec.source,
            "source_status": spec.source_status,
        }

    def _suspect(self, spec: WatchSpec, kind: ComponentKind) -> Component | None:
        """Return the component that a watch suspects: that of its channel, else the one of the kind at its place."""
        mates = [one for one in self.components if one.kind_id == kind.pk]
        place = spec.place
        named = {channel.component_id for channel in self.channels if channel.place == place} if place else set()
        beside = [one for one in mates if place and (one.side == place or one.tag.endswith(f"-{place}"))]
        for found in ([one for one in mates if one.pk in named], beside, mates):
            if len(found) == 1:
                return found[0]
        return None


def _bring_up_to_date(watch: Watch, wanted: Mapping[str, Any]) -> bool:
    """Let a shipped watch say what the catalogue says now."""
    differing = [name for name, value in wanted.items() if getattr(watch, name) != value]
    if not differing:
        return False
    for name in differing:
        setattr(watch, name, wanted[name])
    if any(name in LOOKS_BY for name in differing):
        watch.carried = {}
        differing.append("carried")
    watch.version += 1
    watch.save(update_fields=[*differing, "version"])
    Change.record(watch, "brought up to date", by=None, after={"changed": sorted(differing)})
    return True


@transaction.atomic
def switch_on(watch: Watch, *, by: User | None, version: int | None = None) -> Watch:
    """Let a watch look from now on."""
    return _switch(watch, True, by=by, version=version)


@transaction.atomic
def switch_off(watch: Watch, *, by: User | None, version: int | None = None) -> Watch:
    """Let a watch look no more; what it had seen and is not over ends now."""
    return _switch(watch, False, by=by, version=version)


def _switch(watch: Watch, is_on: bool, *, by: User | None, version: int | None) -> Watch:
    require(by, "set watches")
    watch = _locked(watch, version)
    if watch.is_on == is_on:
        return watch
    if is_on and (why := unsuited_why(spec_of(watch), channel_keys(watch.kiln), watch.kiln)):
        raise ValidationError(_("It would see nothing. %(why)s") % {"why": why}, code="unsuited")
    now = clock.now()
    watch.is_on, watch.switched_on_at = is_on, now if is_on else None
    # What lies before is the trial's to look at; what a long pause left behind says nothing any more.
    watch.looked_until_s, watch.carried = to_epoch_s(now) // 60 * 60 if is_on else None, {}
    watch.version += 1
    watch.save(update_fields=["is_on", "switched_on_at", "looked_until_s", "carried", "version"])
    if not is_on:
        watch.firings.going_on().filter(begin_at__lte=now).update(end_at=now)
    act = "switched on" if is_on else "switched off"
    Change.record(watch, act, by=by, before={"is_on": not is_on}, after={"is_on": is_on})
    return watch


@transaction.atomic
def copy_watch(
    watch: Watch, *, by: User, name: str, parameters: Mapping[str, Any], kiln: Kiln | None = None, **changes: Any
) -> Watch:
    """Make a watch of one's own from another, with other numbers; it is switched off until somebody has tried it.

    With ``kiln`` it is for another kiln, if that kiln's channels can serve it.
    """
    require(by, "set watches")
    copy = Watch.objects.select_related("component_kind", "sheet").get(pk=watch.pk)
    copy.pk, copy.is_shipped, copy.is_on, copy.version = None, False, False, 0
    copy.switched_on_at, copy.looked_until_s, copy.carried = None, None, {}
    _say_copied(copy, watch.name)
    if kiln is not None and kiln.pk != copy.kiln_id:
        _move(copy, kiln)
    _take(copy, name, parameters, changes)
    copy.code = _free_code(copy.kiln, name)
    copy._state.adding = True
    copy.save()
    Change.record(copy, "copied", by=by, after={"from": watch.name, "parameters": copy.parameters})
    return copy


def _say_copied(copy: Watch, name: str) -> None:
    copy.source, copy.source_status = _("a copy of “%(watch)s”") % {"watch": name}, ""


def own_name(name: str) -> str:
    """Propose how a watch with other numbers than the shipped one of a name is called."""
    return _("%(watch)s, own numbers") % {"watch": name}


def _move(copy: Watch, kiln: Kiln) -> None:
    """Put a copy on another kiln, where it suspects what stands in the same place."""
    spec = spec_of(copy)
    if why := unsuited_why(spec, channel_keys(kiln), kiln):
        raise ValidationError({"kiln": why})
    copy.kiln = kiln
    copy.component = _Fields(kiln)._suspect(spec, copy.component_kind) if copy.component_kind else None


@transaction.atomic
def make_watch(
    kiln: Kiln,
    *,
    by: User,
    name: str,
    signal: str,
    rule: str,
    parameters: Mapping[str, Any],
    component_kind: ComponentKind,
    sentence: str,
    sheet: TaskSheet | None = None,
    component: Component | None = None,
    failure_modes: Sequence[str] = (),
    **changes: Any,
) -> Watch:
    """Make a watch of one's own where none that ships is like it: a controller's message, hours since the last work.

    It is switched off until somebody has tried it.
    """
    require(by, "set watches")
    if component is not None and component.kiln_id != kiln.pk:
        raise ValidationError({"component": _("This component is not in %(kiln)s.") % {"kiln": kiln.tag}})
    watch = Watch(
        kiln=kiln,
        signal=signal.strip(),
        rule=rule,
        component_kind=component_kind,
        component=component,
        failure_modes=list(failure_modes),
        sheet=sheet,
        severity=Watch.Severity.NOTICE,
    )
    _take(watch, name, parameters, {"sentence": sentence, **changes})
    if why := unsuited_why(spec_of(watch), channel_keys(kiln), kiln):
        raise ValidationError({"signal": why})
    watch.code = _free_code(kiln, name)
    watch.save()
    Change.record(watch, "made", by=by, after={"signal": watch.signal, "rule": rule, "parameters": watch.parameters})
    return watch


@transaction.atomic
def change_watch(
    watch: Watch, *, by: User, version: int, name: str, parameters: Mapping[str, Any], **changes: Any
) -> Watch:
    """Change a watch of one's own; where it looks by other numbers now, it begins anew."""
    require(by, "set watches")
    watch = _locked(watch, version)
    if watch.is_shipped:
        raise ValidationError(_("This watch ships with the software. Make a copy, and change that."))
    before = {one: getattr(watch, one) for one in ("name", "parameters", *CHANGEABLE)}
    _take(watch, name, parameters, changes)
    after = {one: getattr(watch, one) for one in before}
    if after == before:
        return watch
    if any(before[one] != after[one] for one in ("parameters", "phases")):
        watch.carried = {}
    watch.version += 1
    watch.save()
    differing = [one for one in before if before[one] != after[one]]
    Change.record(
        watch,
        "changed",
        by=by,
        before={one: before[one] for one in differing},
        after={one: after[one] for one in differing},
    )
    return watch


def _take(watch: Watch, name: str, parameters: Mapping[str, Any], changes: Mapping[str, Any]) -> None:
    strange = set(changes) - set(CHANGEABLE)
    if strange:
        raise TypeError(f"{sorted(strange)[0]} of a watch cannot be changed")
    watch.name = name.strip()
    if not watch.name:
        raise ValidationError({"name": _("Give it a name.")})
    for one, value in changes.items():
        setattr(watch, one, value)
    if not watch.sentence.strip():
        raise ValidationError({"sentence": _("Write what it says when it speaks up.")})
    try:
        watch.parameters = rule_parameters(rule_from(watch.rule, parameters))
    except ValueError as refusal:
        raise ValidationError({"parameters": str(refusal)}) from None
    try:
        check(spec_of(watch))
    except ValueError as refusal:
        raise ValidationError(str(refusal)) from None
    watch.full_clean(exclude=["code", "carried", "parameters", "phases", "failure_modes"], validate_unique=False)


def _free_code(kiln: Kiln, name: str) -> str:
    stem = slugify(name)[:50] or "own"
    taken = set(Watch.objects.filter(kiln=kiln, code__startswith=stem).values_list("code", flat=True))
    shipped = {spec.code for spec in shipped_specs()}
    codes = (f"{stem}-{number}" if number else f"{stem}" for number in range(len(taken) + len(shipped) + 2))
    return next(code for code in codes if code not in taken and code not in shipped)


def _locked(watch: Watch, version: int | None) -> Watch:
    found = Watch.objects.select_for_update(of=("self",)).select_related("kiln", "component_kind", "sheet")
    locked = found.get(pk=watch.pk)
    if version is not None and locked.version != version:
        raise ValidationError(
            _("Somebody changed this watch meanwhile. Nothing of yours was stored; look again and repeat it."),
            code="stale",
        )
    return locked
