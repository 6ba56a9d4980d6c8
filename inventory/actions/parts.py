"""Put parts, bins and suppliers on record, and change what is written about a part and the terms it comes on."""

from typing import Any, TypeVar

from django.db import IntegrityError, models, transaction
from django.utils.translation import gettext as _

from inventory.actions.refusals import OrderRefused
from inventory.advice import refresh_advice
from inventory.models import Bin, Part, Supplier, SupplierTerms
from plant import clock
from plant.access import require
from plant.models import Change, ComponentKind, Mill, User

Kept = TypeVar("Kept", Part, Bin, Supplier)
PARTICULARS = ("name", "unit", "criticality", "shelf_life_days", "bin", "is_active")
TERMS = ("lead_time_days", "lead_time_sd_days", "pack_size", "least_order", "unit_price", "is_preferred")


def figures(subject: models.Model | None, names: tuple[str, ...]) -> dict[str, str]:
    """Return what stands in the named fields, in words: for the history, and to notice that somebody was quicker."""
    return {} if subject is None else {name: str(getattr(subject, name)) for name in names}


@transaction.atomic
def add_part(code: str, values: dict[str, Any], fits: list[ComponentKind], *, by: User | None) -> Part:
    """Put a new part on record; nothing lies there yet. Raises OrderRefused where the code is taken."""
    require(by, "edit parts")
    part = _create(Part, code, values)
    part.fits.set(fits)
    after = {"code": code, **figures(part, PARTICULARS), "fits": sorted(kind.code for kind in fits)}
    Change.record(part, "particulars", by=by, after=after)
    _refresh(part)
    return part


@transaction.atomic
def add_bin(code: str, values: dict[str, Any], *, by: User | None) -> Bin:
    """Put a new bin on record. Raises OrderRefused where the code is taken."""
    require(by, "edit parts")
    made = _create(Bin, code, values)
    Change.record(made, "put on record", by=by, after={"code": code, **values})
    return made


@transaction.atomic
def add_supplier(code: str, values: dict[str, Any], *, by: User | None) -> Supplier:
    """Put a new supplier on record. Raises OrderRefused where the code is taken."""
    require(by, "edit parts")
    made = _create(Supplier, code, values)
    Change.record(made, "put on record", by=by, after={"code": code, **values})
    return made


def taken_code(model: type[Part | Bin | Supplier], code: str) -> str:
    """Say what has a code already, in whatever case it is written; empty where nothing has."""
    known = model._default_manager.filter(code__iexact=code).first()
    if known is None:
        return ""
    name = getattr(known, "name", "") or getattr(known, "place", "") or known.code
    return _("%(code)s stands for %(name)s already. Choose another code.") % {"code": known.code, "name": name}


def _create(model: type[Kept], code: str, values: dict[str, Any]) -> Kept:
    if taken := taken_code(model, code):
        raise OrderRefused({"code": taken})
    try:
        # Somebody may take the code between the look and the writing.
        with transaction.atomic():
            return model._default_manager.create(code=code, **values)
    except IntegrityError:
        if taken := taken_code(model, code):
            raise OrderRefused({"code": taken}) from None
        raise


@transaction.atomic
def change_part(
    part: Part, values: dict[str, Any], fits: list[ComponentKind], *, seen: dict[str, str], by: User | None
) -> None:
    """Change a part's particulars; ``seen`` is what its editor saw. Raises OrderRefused where that has changed."""
    require(by, "edit parts")
    fresh = Part.objects.select_for_update(no_key=True).get(pk=part.pk)
    before = figures(fresh, PARTICULARS)
    if before != seen:
        raise OrderRefused(_said_meanwhile(seen, before))
    if values["unit"] != fresh.unit and fresh.moves.exists():
        raise OrderRefused(
            _("The unit of %(part)s cannot change: its ledger is kept in %(unit)s. Make a new part instead.")
            % {"part": fresh.name, "unit": fresh.unit}
        )
    fits_before = sorted(fresh.fits.values_list("code", flat=True))
    for name in PARTICULARS:
        setattr(fresh, name, values[name])
    fresh.save(update_fields=list(PARTICULARS))
    fresh.fits.set(fits)
    Change.record(
        fresh,
        "particulars",
        by=by,
        before={**before, "fits": fits_before},
        after={**figures(fresh, PARTICULARS), "fits": sorted(kind.code for kind in fits)},
    )
    _refresh(fresh)


@transaction.atomic
def set_terms(
    part: Part, supplier: Supplier, values: dict[str, Any], *, seen: dict[str, str], by: User | None
) -> SupplierTerms:
    """Keep the terms on which a supplier delivers a part; the preferred one takes that mark from any other."""
    require(by, "edit parts")
    Part.objects.select_for_update(no_key=True).get(pk=part.pk)
    terms = SupplierTerms.objects.filter(part=part, supplier=supplier).first()
    before = figures(terms, TERMS)
    if before != seen:
        raise OrderRefused(_said_meanwhile(seen, before))
    if values["is_preferred"]:
        part.terms.exclude(supplier=supplier).update(is_preferred=False)
    terms = terms or SupplierTerms(part=part, supplier=supplier)
    for name in TERMS:
        setattr(terms, name, values[name])
    terms.save()
    after = {"supplier": supplier.code, **figures(terms, TERMS)}
    Change.record(part, "terms", by=by, before={"supplier": supplier.code, **before}, after=after)
    _refresh(part)
    return terms


def _refresh(part: Part) -> None:
    if part.is_active:
        refresh_advice(clock.today(Mill.objects.current().zone), [part])


def _said_meanwhile(seen: dict[str, str], now: dict[str, str]) -> str:
    changed = ", ".join(f"{name.replace('_', ' ')}: {value}" for name, value in now.items() if seen.get(name) != value)
    return _("Somebody changed this meanwhile (%(changed)s). Look at your entries again, then save once more.") % {
        "changed": changed
    }
