"""Deciding where another source says something else of a charge: ours is kept, or theirs taken."""

from datetime import datetime
from typing import Any
from uuid import NAMESPACE_OID, uuid5

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from plant import clock
from plant.access import needs, require
from plant.charges import planning, telling
from plant.charges.claims import source_names
from plant.charges.heard import HeardCharge, plan_anew, take_plan
from plant.charges.telling_page import back_to, tell_at
from plant.frame.requests import user_of
from plant.models import Charge, ChargeClaim, User
from plant.warnings.consequences import say_consequences
from plant.warnings.running_bars import lock_kiln

Answer = ChargeClaim.Answer


@needs(telling.ACT)
@require_POST
def decide(request: HttpRequest, tag: str, pk: int) -> HttpResponse:
    """Keep ours, or take theirs, as it was shown."""
    one = get_object_or_404(ChargeClaim.objects.select_related("charge__kiln"), charge__kiln__tag=tag, pk=pk)
    is_theirs = request.POST.get("answer") == "theirs"
    try:
        if answer(one, is_theirs=is_theirs, by=user_of(request)):
            said = _("What %(source)s says is on record now.") if is_theirs else _("What was on record stays.")
            messages.success(request, said % {"source": source_names().get(one.source, one.source)})
            say_consequences(request, [one.charge.kiln])
        else:
            messages.info(request, _("Somebody decided that before, or the source says something else since."))
    except ValidationError as refusal:
        for said in refusal.messages:
            messages.error(request, said)
        if "why" in getattr(refusal, "error_dict", {}):
            return tell_at(one.charge, one.subject, datetime.fromisoformat(one.said["at"]))
    return back_to(one.charge.kiln)


@transaction.atomic
def answer(one: ChargeClaim, *, is_theirs: bool, by: User) -> bool:
    """Decide a claim; say whether it was open still. Raises ValidationError where theirs cannot be."""
    require(by, planning.ACT if one.subject == ChargeClaim.PLAN else telling.ACT)
    lock_kiln(one.charge.kiln_id)
    one = ChargeClaim.objects.select_for_update().get(pk=one.pk)
    if one.answer != Answer.OPEN:
        return False
    if is_theirs:
        _take(one, by)
    one.answer, one.by, one.answered_at = (Answer.THEIRS if is_theirs else Answer.OURS), by, clock.now()
    one.save(update_fields=["answer", "by", "answered_at"])
    return True


def _take(one: ChargeClaim, by: User) -> None:
    key = uuid5(NAMESPACE_OID, f"claim {one.pk} {one.heard_at.isoformat()}")
    charge = Charge.ever.select_related("kiln__mill").prefetch_related("phases").get(pk=one.charge_id)
    if one.subject == ChargeClaim.PLAN:
        said = _facts(one)
        begin_at, end_at = said.pop("begin_at", None), said.pop("end_at", None)
        heard = HeardCharge(charge.kiln.tag, charge.number, said, begin_at, end_at)
        if charge.taken_out_at is not None:
            plan_anew(charge, heard, key, by=by)
        else:
            take_plan(charge, heard, key, by=by)
        return
    at = datetime.fromisoformat(one.said["at"])
    words = telling.words_of([charge])[charge.pk]
    known = telling.last_word(words, one.subject)
    if known is None:
        telling.tell(charge, one.subject, at, key=key, by=by, why=one.source)
    else:
        telling.correct(known, at, key=key, by=by, why=one.source)


def _facts(one: ChargeClaim) -> dict[str, Any]:
    return {name: Charge._meta.get_field(name).to_python(value) for name, value in one.said.items()}  # type: ignore[union-attr]
