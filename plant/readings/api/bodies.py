"""The body of a request, with a bound to its size; the front has waited for all of it."""

from typing import Any, Final

from django.http import HttpRequest

from plant.readings.api.faults import ApiFault
from plant.readings.calculations.sent_readings import JsonFaultError, load_json

MOST_BYTES: Final = 16 * 1024 * 1024


def json_of(request: HttpRequest) -> Any:
    """Return the JSON that was sent. Raises ApiFault."""
    _refuse_other_kinds(request)
    try:
        return load_json(request.read(_announced(request)))
    except JsonFaultError as fault:
        raise ApiFault(400, f"The body cannot be read. {fault}") from None


def _refuse_other_kinds(request: HttpRequest) -> None:
    charset = (request.content_params or {}).get("charset", "utf-8")
    if request.content_type != "application/json" or charset.lower().replace("-", "") != "utf8":
        raise ApiFault(415, "Send JSON in UTF-8, with the header “Content-Type: application/json”.")
    if request.headers.get("Content-Encoding", "identity").strip().lower() != "identity":
        raise ApiFault(415, "Send the body as it is: a packed one (Content-Encoding) is not read.")


def _announced(request: HttpRequest) -> int:
    """Return how long the body is said to be."""
    length = request.META.get("CONTENT_LENGTH") or ""
    if not (length.isascii() and length.isdigit()):
        raise ApiFault(411, "Say how long the body is, with the header “Content-Length”: pieces are not read.")
    if len(length) > 12 or int(length) > MOST_BYTES:
        raise ApiFault(413, f"The body is too large: at most {MOST_BYTES:,} bytes. Send fewer readings at once.")
    return int(length)
