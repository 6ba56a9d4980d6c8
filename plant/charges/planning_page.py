"""A charge of the programme: planned, looked at, changed, moved, copied, taken out."""

import re
from copy import copy
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from functools import partial
from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Max, Q
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from plant import clock
from plant.access import needs
from plant.charges import planning
from plant.charges.calculations.charge_phases import PhaseKind
from plant.charges.calculations.laying import lay, lengths_of, stretched
from plant.charges.calculations.told import ChargeTimes
from plant.charges.drying_times import UsualLength, usual_handling, usual_length
from plant.charges.forms import PlanForm, TakeOutForm
from plant.charges.held_up import held_up_charges
from plant.charges.learnt import likely_end
from plant.charges.planning import ACT, FACTS, HOUR, Outcome
from plant.charges.programme import Basis, basis_of, say_at, stand_of
from plant.charges.rows import phases_in_order
from plant.charges.telling import may_tell, words_of
from plant.frame.days import instant_of
from plant.frame.requests import mill_of, put_refusal, refusal_said, renew, typed, user_of
from plant.frame.typed_numbers import row_number
from plant.models import Change, Charge, Kiln, User
from plant.warnings.consequences import NoLongerHolds, say_consequences, would_be_lost

QUARTER = timedelta(minutes=15)
TIMBER = ("species", "thickness_mm", "initial_mc_pct", "final_mc_pct")
HISTORY_SHOWN = 30
LOOKED_AT_FOR_SPECIES = 200


@dataclass(frozen=True, slots=True)
class Shown:
    """What a filled form comes to, as it is shown before it is kept."""

    charge: Charge
    outcome: Outcome
    why: str
    is_typed: bool

    @property
    def hours(self) -> float:
        """How long the charge is in the kiln."""
        return (self.outcome.times.end_at - self.outcome.times.begin_at) / HOUR

    @property
    def late_h(self) -> float:
        """By how many hours it misses its own promise."""
        return planning.late_h(self.charge, self.outcome.times.end_at)

    @property
    def late_cost(self) -> Decimal | None:
        """What that costs."""
        return planning.late_cost(self.charge, self.late_h)


@needs(ACT)
def plan(request: HttpRequest) -> HttpResponse:
    """Plan a charge: a new one, or one like another."""
    like = Charge.ever.select_related("kiln").filter(pk=row_number(typed(request, "like"))).first()
    return _planned(request, Charge(), _initial(request, like), _("Plan a charge"))


@needs(ACT)
def change(request: HttpRequest, tag: str, pk: int) -> HttpResponse:
    """Change or move a planned charge."""
    charge = _charge(tag, pk)
    with refusal_said(request):
        planning.refuse_fixed(charge)
        return _changed(request, charge)
    return redirect(charge)


def _changed(request: HttpRequest, charge: Charge) -> HttpResponse:
    initial: dict[str, Any] = {name: getattr(charge, name) for name in FACTS}
    initial |= {"kiln": charge.kiln.tag, "begin_at": timezone.localtime(charge.begin_at)}
    if charge.promised_at:
        initial["promised_at"] = timezone.localtime(charge.promised_at)
    heading = _("%(kiln)s: change or move %(number)s") % {"kiln": charge.kiln.tag, "number": charge.number}
    # Whoever moved it on the board sees at once what follows.
    from_at = instant_of(typed(request, "from"))
    if from_at is not None:
        initial["begin_at"] = timezone.localtime(from_at)
    return _planned(request, charge, initial, heading, is_moved=from_at is not None)


def _planned(
    request: HttpRequest, charge: Charge, initial: dict[str, Any], heading: str, *, is_moved: bool = False
) -> HttpResponse:
    present, mill = charge if charge.pk else None, mill_of(request)
    data: QueryDict | None = request.POST if request.method == "POST" else None
    if data is None and is_moved:
        data = _as_sent(PlanForm(initial=initial, mill=mill, present=present))
    form = PlanForm(data, initial=initial, mill=mill, present=present)
    shown, lost = None, list[NoLongerHolds]()
    if form.is_valid():
        try:
            lengths = _own_lengths(form, charge)
            _take(form, charge)
            planning.refuse_impossible(charge)
            times, usual = _times(form, charge, lengths)
            outcome = planning.look(charge, times)
            why = say_usual(usual, charge) if usual else ""
            shown = Shown(charge, outcome, why, bool(form.cleaned_data["end_at"]))
            if form.cleaned_data["seen"] == outcome.mark:
                return _keep(request, form, charge, shown)
            lost = would_be_lost(request, partial(_try, copy(charge), shown, user_of(request)))
        except ValidationError as refusal:
            put_refusal(form, refusal)
        renew(form, seen=shown.outcome.mark if shown and not form.errors else "")
    context = {
        "place": "kilns",
        "charge": present,
        "form": form,
        "heading": heading,
        "shown": shown if not form.errors else None,
        "lost": lost,
        "species": _species(),
    }
    return render(request, "charges/plan_form.html", context)


def _try(charge: Charge, shown: Shown, by: User) -> None:
    planning.keep(charge, shown.outcome.times, seen=shown.outcome.mark, key=uuid4(), by=by)


def _as_sent(form: PlanForm) -> QueryDict:
    """Return a form as if it had been sent as it stands."""
    sent = QueryDict(mutable=True)
    for name, field in form.fields.items():
        value = form[name].value()
        shown = field.widget.format_value(value) if isinstance(value, datetime) else value
        sent[name] = "" if shown is None else str(shown)
    return sent


def _keep(request: HttpRequest, form: PlanForm, charge: Charge, shown: Shown) -> HttpResponse:
    data = form.cleaned_data
    left = Charge.objects.filter(pk=charge.pk).values("kiln")
    kilns = list(Kiln.objects.filter(Q(pk=charge.kiln_id) | Q(pk__in=left)))
    kept = planning.keep(
        charge, shown.outcome.times, seen=data["seen"], key=data["key"], by=user_of(request), why=data["why"]
    )
    facts = {"kiln": kept.kiln.tag, "number": kept.number}
    facts |= {"begin": say_at(kept.begin_at), "end": say_at(kept.end_at)}
    messages.success(request, _("%(kiln)s: %(number)s stands from %(begin)s to %(end)s.") % facts)
    say_consequences(request, kilns)
    return redirect(kept)


def _take(form: PlanForm, charge: Charge) -> None:
    """Put what was typed into the charge; it is not kept by that."""
    for name in FACTS:
        if name in form.cleaned_data:
            setattr(charge, name, form.cleaned_data[name])
    charge.kiln = form.cleaned_data["kiln"]


def _own_lengths(form: PlanForm, charge: Charge) -> dict[PhaseKind, timedelta] | None:
    """Return the lengths that a charge keeps, because neither its timber nor its kiln changes."""
    data = form.cleaned_data
    if not charge.pk or data["end_at"] or charge.kiln_id != data["kiln"].pk:
        return None
    is_same = all(getattr(charge, name) == data[name] for name in TIMBER)
    return lengths_of(stand_of(charge).times) if is_same else None


def _times(
    form: PlanForm, charge: Charge, lengths: dict[PhaseKind, timedelta] | None
) -> tuple[ChargeTimes, UsualLength | None]:
    """Return when the charge is to be in the kiln, and what its length rests on where it was not typed or kept."""
    data = form.cleaned_data
    yard = charge.kiln.mill.yard
    begin_at, end_at = data["begin_at"], data["end_at"]
    is_meant = data.get("is_outside_meant", False)
    if not is_meant and not yard.works_at(begin_at):
        raise _outside(_("The yard does not load at %(at)s"), begin_at, yard.next_at(begin_at))
    usual = None
    if lengths is None:
        lengths, usual = _lengths(charge, is_typed=bool(end_at))
        charge.end_spread_h = Decimal(str(round(usual.end_sd_h, 1))) if usual else charge.end_spread_h
    if not end_at:
        return lay(begin_at, lengths, yard.next_at), usual
    if end_at <= begin_at:
        raise ValidationError({"end_at": _("It cannot be out before it is loaded: give a later instant.")})
    fitted = stretched(lengths, end_at - begin_at)
    if fitted is None:
        others_h = sum(lengths.values(), timedelta(0)) - lengths.get(PhaseKind.DRYING, timedelta(0))
        message = _("Loading, heating up and all else but drying usually take %(hours).0f h: give a later instant.")
        raise ValidationError({"end_at": message % {"hours": others_h / HOUR}})
    times = lay(begin_at, fitted)
    out_at = next((span.begin_at for span in times.spans if span.kind == PhaseKind.UNLOADING), times.end_at)
    if not is_meant and not yard.works_at(out_at):
        raise _outside(_("The yard does not unload at %(at)s"), out_at, yard.next_at(out_at))
    return times, usual


def _outside(words: str, at: datetime, next_at: datetime) -> ValidationError:
    more = _("It works again from %(next)s on. Give that, or say below that it is meant.") % {"next": say_at(next_at)}
    return ValidationError(f"{words % {'at': say_at(at)}}. {more}", code="outside")


def _lengths(wanted: Charge, *, is_typed: bool) -> tuple[dict[PhaseKind, timedelta], UsualLength | None]:
    usual = usual_length(wanted.kiln, wanted, clock.now())
    if usual is not None:
        return {kind: _rounded(hours) for kind, hours in usual.hours.items()}, usual
    if not is_typed:
        unknown = [name for name in ("initial_mc_pct", "final_mc_pct") if getattr(wanted, name) is None]
        if unknown:
            message = _("How long it takes is told by this: write it, or type when the charge will be out.")
            raise ValidationError(dict.fromkeys(unknown, message))
        message = _(
            "Too few charges of %(species)s were dried here and in the other kilns to tell how long it takes: type "
            "when it will be out."
        )
        raise ValidationError({"end_at": message % {"species": wanted.species}}, code="too_few")
    done = Charge.objects.filter(kiln=wanted.kiln, basis=Basis.DONE).order_by("-begin_at").prefetch_related("phases")
    return {kind: _rounded(hours) for kind, hours in usual_handling(done[:20]).items()}, None


def _rounded(hours: float) -> timedelta:
    return max(QUARTER * round(hours * 4), QUARTER)


def _initial(request: HttpRequest, like: Charge | None) -> dict[str, Any]:
    """Propose what is known: the kiln and begin that were asked for, those of a charge like this, or the only kiln."""
    kiln = Kiln.objects.in_use().filter(tag=typed(request, "kiln")).first() or (like.kiln if like else None)
    if kiln is None:
        some = list(Kiln.objects.in_use()[:2])
        kiln = some[0] if len(some) == 1 else None
    initial: dict[str, Any] = {}
    if like is not None:
        initial = {name: getattr(like, name) for name in FACTS if name not in ("promised_at", "number")}
    if kiln is None:
        return initial
    now = clock.now()
    length = like.end_at - like.begin_at if like else timedelta(0)
    from_at = instant_of(typed(request, "from")) or (now if like else _last_out(kiln, now))
    from_at = max(from_at, now + QUARTER)
    begin_at = planning.next_free(kiln, _whole(from_at), length)
    return initial | {
        "kiln": kiln.tag,
        "number": _next_number(kiln),
        "begin_at": timezone.localtime(begin_at),
    }


def _last_out(kiln: Kiln, now: datetime) -> datetime:
    """Return when the last charge is out: as long as nobody says how long a charge takes, it fits behind it."""
    return Charge.objects.filter(kiln=kiln, end_at__gt=now).aggregate(last_at=Max("end_at"))["last_at"] or now


def _whole(at: datetime) -> datetime:
    """Return the next whole quarter of an hour."""
    past = timedelta(minutes=at.minute % 15, seconds=at.second, microseconds=at.microsecond)
    return at + (QUARTER - past if past else past)


def _next_number(kiln: Kiln) -> str:
    """Count the last number of a kiln on; empty where it does not end in figures."""
    known = set(Charge.ever.filter(kiln=kiln).order_by("-begin_at").values_list("number", flat=True)[:200])
    last = Charge.ever.filter(kiln=kiln).order_by("-begin_at").values_list("number", flat=True).first()
    found = re.fullmatch(r"(.*?)(\d{1,9})", last or "")
    if not found:
        return "" if last else "1"
    count = int(found[2])
    while (number := f"{found[1]}{count:0{len(found[2])}}") in known:
        count += 1
    return number


def _species() -> list[str]:
    """Name what was planned or dried last."""
    return sorted(set(Charge.objects.order_by("-pk").values_list("species", flat=True)[:LOOKED_AT_FOR_SPECIES]))


@needs("see kilns")
def charge(request: HttpRequest, tag: str, pk: int) -> HttpResponse:
    """Show a charge, what was told of it and what changed, and lead to what can be done with it."""
    one = _charge(tag, pk)
    words = words_of([one])[one.pk]
    is_planned = basis_of(one, clock.now()) == Basis.PLANNED and not one.taken_out_at
    context = {
        "place": "kilns",
        "kiln": one.kiln,
        "charge": one,
        "stand": _("taken out") if one.taken_out_at else Basis(basis_of(one, clock.now())).label,
        "held_up": held_up_charges([one.kiln_id], clock.now()).get(one.pk),
        "phases": phases_in_order(one),
        "is_planned": is_planned,
        "may_be_planned": is_planned and not words,
        "is_told": bool(words),
        "may_be_told": not one.taken_out_at and bool(may_tell(one, words)),
        "late_h": planning.late_h(one, one.end_at),
        "likely": likely_end(one, clock.now()),
        "words": one.words.select_related("by__person", "corrected_by"),
        "changes": Change.objects.about(one).select_related("by__person").order_by("-at", "-id")[:HISTORY_SHOWN],
    }
    return render(request, "charges/charge.html", context)


@needs(ACT)
def take_out(request: HttpRequest, tag: str, pk: int) -> HttpResponse:
    """Take a planned charge out of the programme; nobody types a reason for what will be refused."""
    one = _charge(tag, pk)
    if request.method == "POST":
        return _taken_out(request, one)
    with refusal_said(request):
        planning.refuse_fixed(one)
        return _taken_out(request, one)
    return redirect(one)


def _taken_out(request: HttpRequest, one: Charge) -> HttpResponse:
    tag, pk = one.kiln.tag, one.pk
    data = request.POST if request.method == "POST" else None
    form = TakeOutForm(data, initial={"seen": planning.mark_of(one)})
    if form.is_valid():
        try:
            said = form.cleaned_data
            planning.take_out(one, seen=said["seen"], by=user_of(request), why=said["why"])
        except ValidationError as refusal:
            put_refusal(form, refusal)
            renew(form, seen=planning.mark_of(_charge(tag, pk)))
        else:
            facts = {"kiln": tag, "number": one.number}
            messages.success(request, _("%(number)s is taken out of the programme of %(kiln)s; it is kept.") % facts)
            say_consequences(request, [one.kiln])
            return redirect("plant:charge", tag=tag, pk=pk)
    heading = _("%(kiln)s: take %(number)s out of the programme") % {"kiln": tag, "number": one.number}
    context = {"place": "kilns", "kiln": one.kiln, "charge": one, "form": form, "heading": heading}
    return render(request, "charges/take_out_form.html", context)


def _charge(tag: str, pk: int) -> Charge:
    return get_object_or_404(Charge.ever.select_related("kiln__mill"), kiln__tag=tag, pk=pk)


def say_usual(usual: UsualLength, wanted: Charge) -> str:
    """Say what a proposed length rests on."""
    time, count = usual.time, usual.level.charges
    facts: dict[str, Any] = {"species": wanted.species, "kiln": wanted.kiln.tag, "count": count}
    facts |= {"likely": round(time.likely_h), "low": round(time.low_h or 0), "high": round(time.high_h or 0)}
    said = (
        ngettext(
            "Drying likely takes %(likely)d h, eight times in ten %(low)d to %(high)d h: so says %(count)d charge of "
            "%(species)s that %(kiln)s dried.",
            "Drying likely takes %(likely)d h, eight times in ten %(low)d to %(high)d h: so say %(count)d charges of "
            "%(species)s that %(kiln)s dried.",
            count,
        )
        if usual.is_own
        else ngettext(
            "Drying likely takes %(likely)d h, eight times in ten %(low)d to %(high)d h: %(kiln)s dried too few of "
            "%(species)s to tell, so %(count)d charge of the other kilns does.",
            "Drying likely takes %(likely)d h, eight times in ten %(low)d to %(high)d h: %(kiln)s dried too few of "
            "%(species)s to tell, so %(count)d charges of the other kilns do.",
            count,
        )
    )
    return said % facts
