"""The body of a request, read with bounds to its size and to the patience with its sender."""

import threading
from typing import Any

from django.http import HttpRequest

from plant.api.faults import ApiFault
from plant.calculations.sent_readings import JsonFaultError, load_json

MOST_BYTES = 16 * 1024 * 1024
WITHIN_S = 30.0


def json_of(request: HttpRequest) -> Any:
    """Return the JSON that was sent. Raises ApiFault."""
    _refuse_other_kinds(request)
    try:
        return load_json(_bytes_of(request, _announced(request)))
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


def _bytes_of(request: HttpRequest, length: int) -> bytes:
    """Read the body, but not for ever: a sender that falls silent half way must not keep a thread of the server."""
    pieces: list[bytes] = []

    def read() -> None:
        try:
            # In one piece for most: the server hands over what it has.
            while (missing := length - sum(map(len, pieces))) > 0 and (piece := request.read(missing)):
                pieces.append(piece)
        except OSError:
            # The sender is gone; what came is too short, which is said below.
            return

    reading = threading.Thread(target=read, daemon=True)
    reading.start()
    reading.join(WITHIN_S)
    if reading.is_alive():
        raise ApiFault(408, f"The body did not arrive within {WITHIN_S:.0f} seconds. Nothing was stored.")
    body = b"".join(pieces)
    if len(body) < length:
        raise ApiFault(400, f"The body is cut off: {len(body):,} of {length:,} bytes came. Nothing was stored.")
    return body
