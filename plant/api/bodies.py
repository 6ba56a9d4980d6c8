"""The body of a request, read with bounds to its size and to the patience with its sender."""

import contextlib
import threading
import time
from collections.abc import Callable
from typing import Any, Final

from django.http import HttpRequest

from plant.api.faults import ApiFault
from plant.calculations.sent_readings import JsonFaultError, load_json

MOST_BYTES: Final = 16 * 1024 * 1024
WITHIN_S = 30.0
MOST_DRAINED_BYTES: Final = 4 * MOST_BYTES
DRAIN_WITHIN_S = 2.0
PIECE_BYTES: Final = 64 * 1024


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
        # In one piece for most: the server hands over what it has.
        while (missing := length - sum(map(len, pieces))) > 0 and (piece := request.read(missing)):
            pieces.append(piece)

    request.is_body_read = True  # type: ignore[attr-defined]
    if not _ends_within(WITHIN_S, read):
        raise ApiFault(408, f"The body did not arrive within {WITHIN_S:.0f} seconds. Nothing was stored.")
    body = b"".join(pieces)
    if len(body) < length:
        raise ApiFault(400, f"The body is cut off: {len(body):,} of {length:,} bytes came. Nothing was stored.")
    return body


def drain(request: HttpRequest) -> None:
    """Let a sender get rid of a body that nobody wanted to read: most hear no answer while they still send.

    Not for long, nor without end, for they may be strangers; and not where the sender waits to be asked for its body.
    """
    if getattr(request, "is_body_read", False) or "Expect" in request.headers:
        return
    until = time.monotonic() + DRAIN_WITHIN_S

    def read() -> None:
        count = 0
        while count < MOST_DRAINED_BYTES and time.monotonic() < until and (piece := request.read(PIECE_BYTES)):
            count += len(piece)

    _ends_within(DRAIN_WITHIN_S, read)


def _ends_within(seconds: float, read: Callable[[], None]) -> bool:
    """Read in a thread of its own, and say whether that came to its end in time."""

    def run() -> None:
        # A sender that is gone: what came is all there is.
        with contextlib.suppress(OSError):
            read()

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    thread.join(seconds)
    return not thread.is_alive()
