"""The addresses of the API and its OpenAPI document."""

from collections.abc import Callable
from functools import wraps
from typing import Any, cast

from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.urls import URLPattern, re_path
from django.views.decorators.csrf import csrf_exempt
from ninja import NinjaAPI

from plant import clock
from plant.models import ChannelName, ReadingSource, SourceToken
from plant.physics.quantities import QUANTITIES
from plant.readings.api import charges, schemas
from plant.readings.api.bodies import json_of
from plant.readings.api.faults import ApiFault, answer_faults
from plant.readings.api.tokens import Token, source_of
from plant.readings.calculations.sent_readings import Sent, SentFaultsError, read_sent
from plant.readings.channel_names import channels_in_use, names_of
from plant.readings.taking_in import ReadingFault, take_in

MOST_READINGS = 100_000
NOTHING_STORED = "Nothing was stored."
View = Callable[..., HttpResponseBase]

api = NinjaAPI(
    title="Kilnward: readings and charges of other systems",
    version="1",
    description=schemas.DESCRIPTION,
    docs_url=None,
    urls_namespace="api",
    auth=Token(),
)
answer_faults(api)
api.add_router("", charges.router)


@api.post(
    "readings",
    response={200: schemas.TakenIn, **schemas.faults(400, 401, 403, 405, 408, 411, 413, 415, 422, 500, 503)},
    openapi_extra={"requestBody": schemas.readings_body(MOST_READINGS)},
    operation_id="send_readings",
    summary="Send readings",
    url_name="readings",
)
def readings(request: HttpRequest) -> Any:
    """Store readings, all of them or none; sending the same again changes nothing.

    The answer comes when they are stored for good. Without an answer send the same again: what is known already is
    only counted. The first value that came for a channel and second is kept.
    """
    source = source_of(request, SourceToken.Purpose.READINGS)
    sent = _sent(json_of(request), source)
    try:
        taken = take_in(sent.channel_id, sent.at_s, sent.value, source=source)
    except ReadingFault as fault:
        raise ApiFault(422, NOTHING_STORED, [(None, what) for what in fault.faults]) from None
    return {"new": taken.new, "known": taken.known, "differing": taken.differing}


@api.get(
    "channels",
    response={200: schemas.Channels, **schemas.faults(401, 403, 405, 500, 503)},
    operation_id="list_channels",
    summary="List the channels that may be sent",
    url_name="channels",
)
def channels(request: HttpRequest) -> Any:
    """Name the channels in use, and what this source calls them."""
    source = source_of(request, SourceToken.Purpose.READINGS)
    names: dict[int, list[dict[str, str]]] = {}
    for channel_id, name, unit in ChannelName.objects.filter(source=source).values_list("channel_id", "name", "unit"):
        names.setdefault(channel_id, []).append({"name": name, "unit": unit})
    found = [
        {
            "channel": f"{channel.kiln.tag}/{channel.key}",
            "quantity": channel.quantity,
            "unit": QUANTITIES[channel.quantity].unit,
            "every_s": channel.every_s,
            "names": names.get(channel.pk, []),
        }
        for channel in channels_in_use().order_by("kiln__tag", "quantity", "place")
    ]
    return {"source": source.code, "channels": found}


def _sent(body: Any, source: ReadingSource) -> Sent:
    """Return the readings of a body. Raises ApiFault."""
    if not isinstance(body, dict) or set(body) != {"readings"} or not isinstance(body["readings"], list):
        raise ApiFault(422, "The body must be an object with “readings” and nothing else: a list of readings.")
    items = body["readings"]
    if len(items) > MOST_READINGS:
        raise ApiFault(413, f"{len(items):,} readings are too many at once: send at most {MOST_READINGS:,}.")
    try:
        return read_sent(items, names_of(source), clock.now().timestamp())
    except SentFaultsError as fault:
        message = f"{NOTHING_STORED} What is wrong is listed by the place of its reading, counted from 0."
        raise ApiFault(422, message, fault.faults, fault.count) from None


def _nothing(request: HttpRequest) -> HttpResponse:
    raise Http404


def _answered(view: View) -> View:
    """Let a view do without sign-in, and let it answer by JSON whatever was asked."""

    @login_not_required
    @csrf_exempt
    @wraps(view)
    def answered(request: HttpRequest, **gaps: Any) -> HttpResponseBase:
        try:
            response = view(request, **gaps)
        except Http404 as fault:
            response = api.on_exception(request, fault)
        if response.status_code == 405:
            allowed = response.headers["Allow"]
            return ApiFault(405, f"This address answers {allowed} only.", headers={"Allow": allowed}).answer()
        return response

    return answered


def urls() -> tuple[list[URLPattern], str, str]:
    """Return the addresses, for ``path("api/", …)``."""
    found, app_name, namespace = api.urls
    patterns = [pattern for pattern in found if isinstance(pattern, URLPattern)]
    for pattern in patterns:
        pattern.callback = _answered(cast(View, pattern.callback))
    # Whatever else is asked for below api/.
    return [*patterns, re_path("", _answered(_nothing), name="nothing")], app_name, namespace
