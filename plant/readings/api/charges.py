"""Charges over the API: taken from other programs, all of a body or nothing of it, and given to them."""

from datetime import datetime, timedelta
from typing import Any, Final

from django.http import HttpRequest
from ninja import Router
from pydantic import ValidationError as WrongBody

from plant import clock
from plant.charges.heard import HeardCharge, NotHeardError, ToldThere, hear
from plant.charges.telling import words_of
from plant.models import Charge, ChargeWord, SourceToken
from plant.readings.api import charge_schemas as schemas
from plant.readings.api.bodies import json_of
from plant.readings.api.faults import ApiFault
from plant.readings.api.schemas import faults
from plant.readings.api.tokens import source_of

NOTHING_KEPT: Final = "Nothing was kept. What is wrong is listed by the place of its charge, counted from 0."
MOST_FAULTS: Final = 50
GIVEN_BACK: Final = timedelta(days=30)
MOST_GIVEN: Final = 5000
FACTS: Final = (
    "species", "thickness_mm", "volume_m3", "initial_mc_pct", "final_mc_pct", "promised_at", "late_cost_per_h",
)  # fmt: skip

router = Router()


@router.post(
    "charges",
    response={200: schemas.Heard, **faults(400, 401, 403, 405, 408, 411, 413, 415, 422, 500, 503)},
    openapi_extra={"requestBody": schemas.charges_body()},
    operation_id="send_charges",
    summary="Send what is planned of charges and what happened to them",
    url_name="charges",
)
def send_charges(request: HttpRequest) -> Any:
    """Take in charges, all of them or none; sending the same again changes nothing.

    A charge is known by its kiln and number. One that is not known is planned; what is planned behind it gives way.
    Where a person planned or told it otherwise, ours stands, and what was sent is shown beside it (`differing`).
    Nobody goes into a chamber by what is told here.
    """
    source = source_of(request, SourceToken.Purpose.CHARGES)
    try:
        body = schemas.ChargesSent.model_validate(json_of(request))
    except WrongBody as wrong:
        raise ApiFault(422, NOTHING_KEPT, _faults_of(wrong), wrong.error_count()) from None
    try:
        heard = hear([_heard(one) for one in body.charges], source.code)
    except NotHeardError as refusal:
        raise ApiFault(422, NOTHING_KEPT, refusal.faults[:MOST_FAULTS], len(refusal.faults)) from None
    return {name: getattr(heard, name) for name in schemas.Heard.model_fields}


@router.get(
    "charges",
    response={200: schemas.Charges, **faults(401, 403, 405, 500, 503)},
    operation_id="list_charges",
    summary="List the charges that are in kilns, to come, and out in the last 30 days",
    url_name="charges",
)
def list_charges(request: HttpRequest) -> Any:
    """Give the charges with what is planned, what is known best, and what was told of them."""
    source = source_of(request, SourceToken.Purpose.CHARGES)
    since_at = clock.now() - GIVEN_BACK
    found = Charge.objects.filter(kiln__is_active=True, end_at__gt=since_at) | Charge.objects.filter(
        kiln__is_active=True
    ).exclude(basis=Charge.Basis.DONE)
    charges = list(found.select_related("kiln").order_by("kiln__tag", "begin_at")[:MOST_GIVEN])
    words = words_of(charges)
    return {"source": source.code, "charges": [_given(one, words[one.pk]) for one in charges]}


def _heard(one: schemas.ChargeSent) -> HeardCharge:
    given = one.model_fields_set
    facts: dict[str, Any] = {name: getattr(one, name) for name in FACTS if name in given}
    told = tuple(ToldThere(told.what, _whole(told.at)) for told in one.told)
    begin_at, end_at = (None if at is None else _whole(at) for at in (one.begin_at, one.end_at))
    return HeardCharge(one.kiln, one.number, facts, begin_at, end_at, told)


def _whole(at: datetime) -> datetime:
    return at.replace(microsecond=0)


def _faults_of(wrong: WrongBody) -> list[tuple[int | None, str]]:
    found: list[tuple[int | None, str]] = []
    for error in wrong.errors()[:MOST_FAULTS]:
        place = next((part for part in error["loc"] if isinstance(part, int)), None)
        field = ".".join(str(part) for part in error["loc"] if part != "charges")
        found.append((place, f"{field}: {error['msg']}"))
    return found


def _given(charge: Charge, words: list[ChargeWord]) -> dict[str, Any]:
    times = ("planned_begin_at", "planned_end_at", "begin_at", "end_at")
    return {
        "kiln": charge.kiln.tag,
        "number": charge.number,
        "state": charge.basis,
        **{name: getattr(charge, name) for name in (*FACTS, *times)},
        "told": [{"what": word.what, "at": word.at, "by": _teller(word)} for word in words],
    }


def _teller(word: ChargeWord) -> str:
    if word.is_by_people:
        return "person"
    return word.by_source or "readings"
