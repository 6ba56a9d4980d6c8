"""What sits where in a kiln: a position added, something exchanged in it, and an exchange taken back."""

from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.formats import date_format
from django.utils.text import slugify
from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from plant import clock
from plant.access import require
from plant.frame.particulars import particulars, refuse_stale, save_changed
from plant.models import Change, Component, ComponentKind, FailureMode, Fitting, Kiln, User
from plant.warnings.running_bars import lock_kiln, running_bars, say_bar

COMPONENT_FIELDS = ("name", "side")
FITTING_FIELDS = ("part_code", "fitted_at", "removed_at", "removal", "note")


@transaction.atomic
def add_component(kiln: Kiln, kind: ComponentKind, name: str, side: str, *, by: User | None) -> Component:
    """Put a position of a kiln on record; its tag is made of its kind, with a number where there are several."""
    require(by, "edit kilns")
    Kiln.objects.select_for_update(no_key=True).get(pk=kiln.pk)
    taken = set(Component.objects.filter(kiln=kiln).values_list("tag", flat=True))
    stem = slugify(kind.code)[:50]
    tag = stem if stem not in taken else next(f"{stem}-{n}" for n in range(2, 1000) if f"{stem}-{n}" not in taken)
    if Component.objects.in_use().filter(kiln=kiln, name__iexact=name).exists():
        raise ValidationError({"name": _("%(kiln)s has a component of this name: tell them apart.") % {"kiln": kiln}})
    component = Component.objects.create(kiln=kiln, kind=kind, tag=tag, name=name, side=side)
    Change.record(component, "put on record", by=by, after={"kind": kind.code, "name": name, "side": side})
    return component


@transaction.atomic
def edit_component(component: Component, values: dict[str, Any], *, seen: str, by: User | None) -> Component:
    """Change what a component is called and on which side it sits; tag and kind stay."""
    require(by, "edit kilns")
    component = _locked(component)
    refuse_stale(component, values, seen)
    save_changed(component, values, "particulars changed", by=by)
    return component


@transaction.atomic
def exchange(
    component: Component,
    at: datetime,
    removal: str,
    failure_mode: FailureMode | None,
    part_code: str,
    note: str,
    *,
    by: User | None,
) -> Fitting:
    """Record that something new sits in a position, and why what sat there came out.

    Raises ValidationError for an instant that is still to come, or not after that at which what sits there now was
    fitted; and for a failure mode of another kind of component.
    """
    require(by, "do work")
    component = _locked(component)
    if at > clock.now():
        raise ValidationError({"at": _("That is still to come: record an exchange when it was made.")})
    if failure_mode is not None and failure_mode.kind_id != component.kind_id:
        raise ValidationError({"failure_mode": _("Components of this kind do not fail in this way.")})
    current = component.fittings.filter(removed_at__isnull=True).first()
    latest = component.fittings.order_by("-fitted_at").first()
    if latest is not None and at <= max(latest.fitted_at, latest.removed_at or latest.fitted_at):
        words = _("Something was fitted or taken out there on %(at)s: an exchange after it has a later time.")
        raise ValidationError({"at": words % {"at": _local(latest.removed_at or latest.fitted_at)}})
    if current is not None:
        current.removed_at, current.removal, current.failure_mode = at, removal, failure_mode
        current.save(update_fields=["removed_at", "removal", "failure_mode"])
    fitted = Fitting.objects.create(component=component, part_code=part_code, fitted_at=at, note=note)
    told = {"removal": removal, "failure_mode": failure_mode.code if failure_mode else ""}
    Change.record(component, "exchanged", by=by, after={**particulars(fitted, FITTING_FIELDS), **told}, note=note)
    return fitted


@transaction.atomic
def take_exchange_back(fitting: Fitting, *, by: User | None) -> None:
    """Take the last exchange of a position back: what it took out sits there again. The history keeps both."""
    require(by, "edit kilns")
    component = _locked(fitting.component)
    current = component.fittings.filter(pk=fitting.pk, removed_at__isnull=True).first()
    if current is None:
        raise ValidationError(_("It does not sit there any more: take back the exchange that took it out first."))
    before = particulars(current, FITTING_FIELDS)
    former = component.fittings.filter(removed_at=current.fitted_at).first()
    current.delete()
    if former is not None:
        former.removed_at, former.removal, former.failure_mode = None, "", None
        former.save(update_fields=["removed_at", "removal", "failure_mode"])
    Change.record(component, "exchange taken back", by=by, before=before)


@transaction.atomic
def retire(component: Component, why: str, *, by: User | None) -> Component:
    """Take a position out of use: checks and new work leave it out, its record stays.

    Refused while somebody is inside or at work there: a way out, or what is locked out, is not struck meanwhile.
    """
    require(by, "edit kilns")
    kiln = lock_kiln(component.kiln_id)
    component = _locked(component)
    if bar := running_bars([kiln]).get(kiln.pk):
        said = _("Not while people are in or at the kiln. %(bar)s") % {"bar": say_bar(kiln, bar)}
        raise ValidationError(said, code="inside")
    others = Component.objects.in_use().filter(kiln=component.kiln_id).exclude(pk=component.pk)
    if component.kiln.is_active and not others.exists():
        raise ValidationError(_("It is the last component of a kiln in use: take the kiln out of use instead."))
    return _switch(component, False, "retired", why, by)


@transaction.atomic
def bring_back(component: Component, *, by: User | None) -> Component:
    """Take a retired position into use again."""
    require(by, "edit kilns")
    return _switch(_locked(component), True, "in use again", "", by)


def _switch(component: Component, is_active: bool, act: str, why: str, by: User | None) -> Component:
    if component.is_active != is_active:
        component.is_active = is_active
        component.save(update_fields=["is_active"])
        Change.record(component, act, by=by, before={"is_active": not is_active}, note=why)
    return component


def _locked(component: Component) -> Component:
    found = Component.objects.select_for_update(of=("self",)).select_related("kiln", "kind")
    return found.get(pk=component.pk)


def _local(at: datetime) -> str:
    return date_format(localtime(at), "D j M Y, H:i")
