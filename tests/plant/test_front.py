"""Where requests come in: a sender that stalls, hangs up or sends too much costs nobody else anything."""

import asyncio
import json
import os
import signal
import socket
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from typing import Any

import pytest

from config import front
from config.front import Front
from tests.plant.receiving import count, token_of
from tests.plant.sending import BEGIN_S, WET
from tests.plant.serving import Server, until


class Sending:
    """A sender as the front sees it: pieces of a body, then what the test wants."""

    def __init__(self, *pieces: bytes, then: str = "ends", headers: dict[str, str] | None = None, sender: str = "a"):
        self.pieces = list(pieces)
        self.then = then
        self.sender = sender
        size = str(sum(map(len, pieces)) + (0 if then == "ends" else 10))
        self.headers = headers if headers is not None else {"content-length": size}
        self.answers: list[dict[str, Any]] = []

    def scope(self, path: str = "/sign-in/") -> dict[str, Any]:
        """Return what a server says of the request."""
        return {
            "type": "http",
            "http_version": "1.1",
            "method": "POST",
            "path": path,
            "raw_path": path.encode(),
            "query_string": b"",
            "scheme": "http",
            "server": ("localhost", 80),
            "client": (self.sender, 4711),
            "headers": [(name.encode("latin-1"), value.encode("latin-1")) for name, value in self.headers.items()],
        }

    async def receive(self) -> dict[str, Any]:
        """Give the next piece."""
        if self.pieces:
            piece = self.pieces.pop(0)
            return {"type": "http.request", "body": piece, "more_body": bool(self.pieces) or self.then != "ends"}
        if self.then == "hangs up":
            return {"type": "http.disconnect"}
        await asyncio.sleep(60)
        raise AssertionError("waited for too long")

    async def send(self, message: dict[str, Any]) -> None:
        """Keep what is answered."""
        self.answers.append(message)

    @property
    def status(self) -> int:
        """Return the status that was answered; 0 without an answer."""
        return int(self.answers[0]["status"]) if self.answers else 0

    @property
    def body(self) -> bytes:
        """Return what was answered."""
        return b"".join(answer.get("body", b"") for answer in self.answers)


def echo(environ: dict[str, Any], start_response: Callable[..., Any]) -> list[bytes]:
    """Answer with what came."""
    start_response("200 OK", [("Content-Type", "text/plain")])
    kept = {key: value for key, value in environ.items() if isinstance(value, str)}
    return [json.dumps([kept, environ["wsgi.input"].read().decode("latin-1")]).encode()]


def ask(*sendings: Sending, most_bytes: int = 1000, path: str = "/sign-in/") -> None:
    """Send all at once and wait for the answers, in a thread of its own: a browser's loop may run in this one."""

    async def run() -> None:
        asked = Front(echo, 2, most_bytes)
        await asyncio.gather(*(asked(sending.scope(path), sending.receive, sending.send) for sending in sendings))

    with ThreadPoolExecutor(1) as thread:
        thread.submit(asyncio.run, run()).result()


def test_a_whole_request_is_answered_by_the_program() -> None:
    headers = {"content-length": "7", "x-real-ip": "1.2.3.4", "x_real_ip": "6.6.6.6", "cookie": "a=1"}
    sending = Sending(b"na", b"me=Oda", then="ends", headers=headers | {"content-length": "8"})
    ask(sending)
    environ, body = json.loads(sending.body)
    assert (sending.status, body) == (200, "name=Oda")
    assert (environ["CONTENT_LENGTH"], environ["HTTP_X_REAL_IP"], environ["HTTP_COOKIE"]) == ("8", "1.2.3.4", "a=1")


def test_a_sender_that_falls_silent_is_told_so_and_reaches_no_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(front, "SILENT_S", 0.05)
    monkeypatch.setattr(front, "READ_AWAY_S", 0.05)
    sending, whole = Sending(b"na", then="is silent"), Sending(b"name")
    ask(sending, whole)
    assert (sending.status, whole.status) == (408, 200)
    assert b"did not arrive in time" in sending.body


def test_a_sender_that_drips_is_given_up_however_lively(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(front, "WITHIN_S", 0.0)
    monkeypatch.setattr(front, "READ_AWAY_S", 0.05)
    sending = Sending(b"n", b"a", then="is silent")
    ask(sending)
    assert sending.status == 408


def test_a_machine_is_told_in_json(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(front, "SILENT_S", 0.05)
    monkeypatch.setattr(front, "READ_AWAY_S", 0.05)
    sending = Sending(b"{", then="is silent")
    ask(sending, path="/api/readings")
    assert "did not arrive" in json.loads(sending.body)["message"]


def test_a_sender_that_hangs_up_half_way_leaves_nothing_behind() -> None:
    sending = Sending(b"na", then="hangs up")
    ask(sending)
    assert sending.answers == []


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"content-length": "1001"}, 413),
        ({"content-length": "9" * 30}, 413),
        ({"content-length": "²"}, 400),
        ({"content-length": "-3"}, 400),
        ({"transfer-encoding": "chunked"}, 411),
    ],
)
def test_a_body_that_is_too_large_or_does_not_say_how_large_is_refused(headers: dict[str, str], status: int) -> None:
    sending = Sending(b"name", headers=headers)
    ask(sending)
    assert sending.status == status


def test_the_busiest_sender_gives_way_where_too_many_are_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(front, "MOST_WAITED_FOR", 3)
    monkeypatch.setattr(front, "SILENT_S", 0.3)
    monkeypatch.setattr(front, "READ_AWAY_S", 0.05)
    few = Sending(b"na", then="is silent", sender="b")
    many = [Sending(b"na", then="is silent", sender="a") for _ in range(4)]
    ask(few, *many)
    # The one of the other address is waited for to its end.
    assert few.status == 408
    assert [sending.status for sending in many] == [503, 503, 408, 408]


STALLED = 100
ANSWERS_WITHIN_S = 3.0


def ask_for(server: Server, request: bytes) -> bytes:
    """Send a request and return the beginning of its answer, which must come in time."""
    with socket.create_connection(("127.0.0.1", server.port), timeout=ANSWERS_WITHIN_S) as line:
        line.sendall(request)
        return line.recv(4096)


@pytest.mark.skipif(sys.platform != "linux", reason="looks into /proc")
def test_a_hundred_stalled_senders_keep_nobody_from_the_pages_or_the_api(receiver: Server) -> None:
    receiver.start("--no-worker")
    form = b"POST /sign-in/ HTTP/1.1\r\nHost: localhost\r\nContent-Length: 100\r\nContent-Type: %s\r\n\r\nusername=o"
    kinds = (
        form % b"application/x-www-form-urlencoded",
        form % b"multipart/form-data; boundary=x",
        b"POST /api/readings HTTP/1.1\r\nHost: localhost\r\nContent-Length: 100\r\n\r\n{",
        # Not even the head comes to its end.
        b"GET /sign-in/ HTTP/1.1\r\nHost: loc",
    )
    body = json.dumps({"readings": [{"channel": WET, "at": BEGIN_S, "value": 40}]}).encode()
    head = (
        f"POST /api/readings HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer {token_of(receiver)}\r\n"
        f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\nConnection: close\r\n\r\n"
    )
    with ExitStack() as lines:
        stalled = []
        for number in range(STALLED):
            line = lines.enter_context(socket.create_connection(("127.0.0.1", receiver.port), timeout=60))
            line.sendall(kinds[number % len(kinds)])
            stalled.append(line)
        for _ in range(3):
            page = b"GET /sign-in/ HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n"
            assert ask_for(receiver, page).startswith(b"HTTP/1.1 200")
            assert ask_for(receiver, head.encode() + body).startswith(b"HTTP/1.1 200")
        # Each of them is given up by itself.
        for line in stalled:
            line.settimeout(60)
            assert line.recv(100)[:12] in (b"", b"HTTP/1.1 408")
    assert count(receiver) == 1
    assert receiver.stop() == 0


@pytest.mark.skipif(sys.platform != "linux", reason="looks into /proc")
def test_a_web_server_that_hangs_is_started_anew(server: Server) -> None:

    server.start("--no-worker")
    assert server.process is not None
    first = server.children(server.process.pid)[0]
    for pid in (first, *server.children(first)):
        os.kill(pid, signal.SIGSTOP)

    def answers() -> bool:
        try:
            return ask_for(server, b"GET /alive/ HTTP/1.1\r\nHost: localhost\r\n\r\n").startswith(b"HTTP/1.1 200")
        except OSError:
            time.sleep(0.2)
            return False

    until(answers, "the pages answer again", within_s=120)
    assert b"The web server was silent" in server.output.read_bytes()
    assert server.stop() == 0
