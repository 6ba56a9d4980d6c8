"""Where requests come in: whole ones alone reach the threads that answer them.

The pages are answered by a few threads, each with its connection to the database. A thread that waited for a sender's
body would be lost to everybody else for as long as the sender likes: four half-sent forms would stop a site. So bodies
are waited for on one event loop, where waiting costs nothing, with a deadline; answers go out from there too.
"""

import asyncio
import io
import sys
from collections import Counter
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from concurrent.futures import ThreadPoolExecutor
from typing import Any, Final
from urllib.parse import unquote_to_bytes

from django.utils.translation import gettext as _

from plant.readings.api.faults import ApiFault

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[dict[str, Any]], Awaitable[None]]
Wsgi = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]
Headers = list[tuple[bytes, bytes]]

# A sender that says nothing for so long has gone, or means no good.
SILENT_S: Final = 10.0
# A small body must be there by then; a larger one has as much longer as a poor line to a kiln house takes.
WITHIN_S: Final = 30.0
LEAST_BYTES_PER_S: Final = 20_000
# Bodies that are waited for at once, and what they may take together; beyond it the busiest sender loses its oldest.
MOST_WAITED_FOR: Final = 200
MOST_BYTES_WAITED_FOR: Final = 256 * 1024 * 1024
# A sender whose body nobody wants hears no answer while it still sends: so much, and so long, is read away.
MOST_READ_AWAY_BYTES: Final = 64 * 1024 * 1024
READ_AWAY_S: Final = 2.0


class NotWhole(Exception):  # noqa: N818 (what a sender did, not a fault of ours)
    """A body that does not reach the program, with what is answered."""

    def __init__(self, status: int, why: str) -> None:
        super().__init__(why)
        self.status, self.why = status, why


class Gone(Exception):  # noqa: N818
    """A sender that hung up."""


class Waited:
    """A body that is waited for."""

    def __init__(self, sender: str) -> None:
        self.sender = sender
        self.pieces: list[bytes] = []
        self.size = 0
        self.given_up = asyncio.Event()


class Front:
    """An ASGI application around a WSGI one.

    Parameters
    ----------
    app : Wsgi
        What answers whole requests.
    threads : int
        How many of them are answered at once.
    most_bytes : int
        Largest body.
    """

    def __init__(self, app: Wsgi, threads: int, most_bytes: int) -> None:
        self.app = app
        self.pool = ThreadPoolExecutor(threads, thread_name_prefix="pages")
        self.most_bytes = most_bytes
        # Oldest first.
        self.waiting: dict[Waited, None] = {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or say that the server is up."""
        if scope["type"] == "lifespan":
            await _live(receive, send)
            return
        try:
            body = await self._body(scope, receive)
        except Gone:
            return
        except NotWhole as fault:
            await _read_away(receive)
            await _send_all(send, *_refusal(scope["path"], fault))
            return
        answering = asyncio.get_running_loop().run_in_executor(self.pool, _answer, self.app, _environ(scope, body))
        await _send_all(send, *await answering)

    async def _body(self, scope: Scope, receive: Receive) -> bytes:
        """Wait for the whole body. Raises NotWhole, Gone."""
        length = self._announced(scope["headers"])
        if not length:
            return b""
        waited = Waited((scope.get("client") or ("",))[0])
        self._make_room()
        self.waiting[waited] = None
        try:
            return await self._wait_for(waited, length, receive)
        finally:
            del self.waiting[waited]

    def _announced(self, headers: Headers) -> int:
        """Return how long the body is said to be; 0 where none comes. Raises NotWhole."""
        said = dict(headers)
        if b"transfer-encoding" in said:
            raise NotWhole(411, _("Say how long the body is, with the header “Content-Length”: pieces are not read."))
        text = said.get(b"content-length", b"0").decode("latin-1").strip()
        if not (text.isascii() and text.isdigit()):
            raise NotWhole(400, _("The header “Content-Length” is not a number."))
        if len(text) > 12 or int(text) > self.most_bytes:
            limit = f"{self.most_bytes:,}"
            raise NotWhole(413, _("This is too large: at most %(limit)s bytes are taken at once.") % {"limit": limit})
        return int(text)

    def _make_room(self) -> None:
        """Give up the oldest body of whoever has the most under way, where too many are waited for."""
        size = sum(waited.size for waited in self.waiting)
        if len(self.waiting) < MOST_WAITED_FOR and size < MOST_BYTES_WAITED_FOR:
            return
        count = Counter(waited.sender for waited in self.waiting if not waited.given_up.is_set())
        if count:
            busiest, _count = count.most_common(1)[0]
            next(
                waited for waited in self.waiting if waited.sender == busiest and not waited.given_up.is_set()
            ).given_up.set()

    async def _wait_for(self, waited: Waited, length: int, receive: Receive) -> bytes:
        begun = asyncio.get_running_loop().time()
        giving_up = asyncio.ensure_future(waited.given_up.wait())
        try:
            while True:
                patience = begun + WITHIN_S + waited.size / LEAST_BYTES_PER_S - asyncio.get_running_loop().time()
                message = await _next(receive, giving_up, min(SILENT_S, patience))
                piece = message.get("body", b"")
                waited.pieces.append(piece)
                waited.size += len(piece)
                if waited.size > self.most_bytes:
                    raise NotWhole(413, _("More came than was announced."))
                if not message.get("more_body", False):
                    break
        finally:
            giving_up.cancel()
        if waited.size < length:
            raise Gone
        return b"".join(waited.pieces)


async def _next(receive: Receive, giving_up: "asyncio.Future[Any]", patience_s: float) -> MutableMapping[str, Any]:
    """Return the next piece. Raises NotWhole, Gone."""
    coming = asyncio.ensure_future(receive())
    await asyncio.wait({coming, giving_up}, timeout=max(0.0, patience_s), return_when=asyncio.FIRST_COMPLETED)
    if not coming.done():
        coming.cancel()
        if giving_up.done():
            raise NotWhole(503, _("Too much is being sent at once. Nothing was stored: send it again in a while."))
        raise NotWhole(
            408, _("What was sent did not arrive in time, so nothing was stored. Go back and send it again.")
        )
    message = coming.result()
    if message["type"] == "http.disconnect":
        raise Gone
    return message


async def _read_away(receive: Receive) -> None:
    """Let a sender get rid of what nobody wants, for a while."""
    size = 0
    until = asyncio.get_running_loop().time() + READ_AWAY_S
    try:
        while size < MOST_READ_AWAY_BYTES:
            left = until - asyncio.get_running_loop().time()
            message = await asyncio.wait_for(receive(), max(0.0, left))
            size += len(message.get("body", b""))
            if message["type"] == "http.disconnect" or not message.get("more_body", False):
                return
    except TimeoutError:
        return


def _refusal(path: str, fault: NotWhole) -> tuple[int, Headers, bytes]:
    """Say why a request does not reach the program: to machines in JSON, to people in a sentence."""
    if path.startswith("/api/"):
        said = ApiFault(fault.status, fault.why).answer()
        headers, body = [("content-type", said.headers["Content-Type"])], said.content
    else:
        headers, body = [("content-type", "text/plain; charset=utf-8")], f"{fault.why}\n".encode()
    # What is left of the body stays unread.
    headers += [("connection", "close"), ("content-length", str(len(body))), ("cache-control", "no-store")]
    return fault.status, _as_bytes(headers), body


def _environ(scope: Scope, body: bytes) -> dict[str, Any]:
    """Return a request as PEP 3333 has it."""
    address, port = scope.get("server") or ("localhost", 80)
    environ: dict[str, Any] = {
        "REQUEST_METHOD": scope["method"],
        "SCRIPT_NAME": "",
        # From the path as it was sent: what is not UTF-8 in it is for the program to refuse.
        "PATH_INFO": unquote_to_bytes(scope.get("raw_path") or scope["path"].encode()).decode("latin-1"),
        "QUERY_STRING": scope["query_string"].decode("latin-1"),
        "SERVER_NAME": str(address),
        "SERVER_PORT": str(port),
        "SERVER_PROTOCOL": f"HTTP/{scope['http_version']}",
        "REMOTE_ADDR": (scope.get("client") or ("",))[0],
        "wsgi.version": (1, 0),
        "wsgi.url_scheme": scope.get("scheme", "http"),
        "wsgi.input": io.BytesIO(body),
        "wsgi.errors": sys.stderr,
        "wsgi.multithread": True,
        "wsgi.multiprocess": True,
        "wsgi.run_once": False,
    }
    for raw_name, raw_value in scope["headers"]:
        name, value = raw_name.decode("latin-1"), raw_value.decode("latin-1")
        # “x_real_ip” must not pass for “x-real-ip”.
        if "_" in name or name == "content-length":
            continue
        key = name.upper().replace("-", "_")
        key = key if key == "CONTENT_TYPE" else f"HTTP_{key}"
        between = "; " if key == "HTTP_COOKIE" else ","
        environ[key] = f"{environ[key]}{between}{value}" if key in environ else value
    if any(name == b"content-length" for name, _value in scope["headers"]):
        environ["CONTENT_LENGTH"] = str(len(body))
    return environ


def _answer(app: Wsgi, environ: dict[str, Any]) -> tuple[int, Headers, bytes]:
    """Let a thread answer to the end: whoever reads slowly keeps no thread either."""
    said: dict[str, Any] = {}

    def start_response(status: str, headers: list[tuple[str, str]], exc_info: Any = None) -> None:
        said.update(status=int(status.split(" ", 1)[0]), headers=headers)

    parts = app(environ, start_response)
    try:
        body = b"".join(parts)
    finally:
        close = getattr(parts, "close", None)
        if close:
            close()
    return said["status"], _as_bytes(said["headers"]), body


def _as_bytes(headers: Iterable[tuple[str, str]]) -> Headers:
    return [(name.lower().encode("latin-1"), value.encode("latin-1")) for name, value in headers]


async def _send_all(send: Send, status: int, headers: Headers, body: bytes) -> None:
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


async def _live(receive: Receive, send: Send) -> None:
    """Say that start and end were heard."""
    while True:
        message = await receive()
        await send({"type": f"{message['type']}.complete"})
        if message["type"] == "lifespan.shutdown":
            return
