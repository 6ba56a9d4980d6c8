"""Whatever is asked of the running server, it is no failure of the program: thousands of odd requests, seeded."""

import http.client
import random
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import pytest
from django import forms
from django.db import connection
from django.urls import URLPattern, URLResolver, get_resolver

from tests.plant.serving import PATIENCE_S, ROOT, Server

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="starts a server")

# SQLite keeps what PostgreSQL refuses, and so tells less.
REQUESTS = {"postgresql": 3_000, "sqlite": 400}
SEED = 20261130
# What ends the sign-in that asks.
ENDS = ("sign-out", "own-password", "sign-ins", "sign-in/")
ODD = (
    b"%00",
    b"a%00b",
    "²".encode(),
    "٣".encode(),
    b"9" * 40,
    b"-1",
    b"1e9",
    b"NaN",
    b"2026-13-45",
    b"2026-02-30T25:61",
    b"0001-01-01",
    b"9999-12-31",
    b"+99999-01-01",
    b"http://[",
    b"//elsewhere.example/",
    b"/%5Celsewhere.example",
    b"%FF%FE",
    b"%ED%A0%80",
    b"..%2F..%2F",
    b"%0D%0AX-Odd: 1",
    "\u202e😀".encode(),
    b"'\"><b>",
    b"x" * 3000,
    b" ",
    b"",
)
PLAIN = (b"K1", b"1", b"2", b"on", b"2026-11-25", b"planned", b"now", b"odd", b"12.5")


def patterns(resolver: URLResolver, before: str = "") -> Iterator[str]:
    """Return the patterns of all addresses."""
    for one in resolver.url_patterns:
        text = before + re.sub(r"[\^$]", "", str(one.pattern))
        if isinstance(one, URLPattern):
            yield text
        else:
            yield from patterns(one, text)


def names_in_forms(kind: type[forms.BaseForm] = forms.BaseForm) -> set[str]:
    """Return the names of the fields of all forms."""
    found = set(getattr(kind, "base_fields", ()))
    return found.union(*(names_in_forms(child) for child in kind.__subclasses__()))


def names_in_queries() -> set[str]:
    """Return what the program looks for in an address or a form, read off its source."""
    found: set[str] = set()
    for storey in ("config", "plant", "inventory", "maintenance"):
        for file in Path(ROOT, storey).rglob("*.py"):
            found |= set(re.findall(r"""(?:GET|POST|data)(?:\.get(?:list)?\(|\[)f?["']([a-z_-]+)""", file.read_text()))
    return found


class Asking:
    """Somebody signed in who asks for anything."""

    def __init__(self, server: Server, session: str) -> None:
        self.chance = random.Random(SEED)
        self.port = server.port
        self.patterns = sorted(one for one in patterns(get_resolver()) if not one.startswith(ENDS))
        self.names = sorted(names_in_forms() | names_in_queries())
        self.head = {
            "Host": "localhost",
            "Cookie": f"sessionid={session}; csrftoken={'a' * 32}",
            "X-CSRFToken": "a" * 32,
        }
        self.line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_S)

    def value(self) -> bytes:
        """Return something that may stand in an address."""
        return self.chance.choice(ODD if self.chance.random() < 0.5 else PLAIN)

    def fields(self, most: int) -> bytes:
        """Return names and values as an address or a form has them."""
        chosen = [self.chance.choice(self.names) for _ in range(self.chance.randint(0, most))]
        parts = [f"{quote(name)}=".encode() + quote(self.value(), safe="%:/").encode() for name in chosen]
        return b"&".join(parts)

    def request(self) -> tuple[str, str, bytes, dict[str, str]]:
        """Return method, path, body and headers of the next request."""
        path = re.sub(r"<[^>]+>", lambda gap: quote(self.value(), safe="%"), self.chance.choice(self.patterns))
        query = self.fields(4).decode()
        head = dict(self.head)
        if self.chance.random() < 0.3:
            head["HX-Request"] = "true"
            head["HX-Current-URL"] = self.chance.choice(("http://[", "http://localhost/kilns/", "x"))
        if self.chance.random() < 0.2:
            head["Referer"] = self.chance.choice(("http://[", "http://localhost/", "//elsewhere"))
        if self.chance.random() < 0.4:
            head["Content-Type"] = self.chance.choice(
                ("application/x-www-form-urlencoded",) * 4
                + ("multipart/form-data; boundary=x", "application/json", "²".encode().decode("latin-1"))
            )
            return "POST", f"/{path}?{query}", self.fields(12), head
        return self.chance.choice(("GET",) * 5 + ("HEAD", "PUT", "ODD")), f"/{path}?{query}", b"", head

    def ask(self) -> tuple[int, str]:
        """Send the next request and return its status and what was asked."""
        method, path, body, head = self.request()
        if method == "POST":
            head["Content-Length"] = str(len(body))
        try:
            self.line.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            for name, value in head.items():
                self.line.putheader(name, value)
            self.line.endheaders(body if method == "POST" else None)
            answer = self.line.getresponse()
            answer.read()
        except TimeoutError as late:
            raise AssertionError(f"no answer within {PATIENCE_S} s: {method} {path[:200]} {body[:300]!r}") from late
        except (http.client.HTTPException, OSError, ValueError):
            # What no client can put on a line, or the server hung up on.
            self.line.close()
            return 0, ""
        return answer.status, f"{method} {path[:200]} {body[:300]!r}"


def test_no_odd_request_is_a_failure_of_the_program(receiver: Server) -> None:
    made = subprocess.run(
        [sys.executable, "-m", "tests.plant.odd_driver"],
        cwd=ROOT,
        env=receiver.environ,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert made.returncode == 0, made.stderr
    receiver.start("--no-worker")
    asking = Asking(receiver, made.stdout.strip())
    answers = [asking.ask() for _ in range(REQUESTS[connection.vendor])]
    assert [asked for status, asked in answers if status >= 500] == [], receiver.output.read_text()[-6000:]
    # Most were answered, and somebody was signed in to the end.
    assert sum(status > 0 for status, _asked in answers) > 0.9 * len(answers)
    assert sum(status == 200 for status, _asked in answers) > 0.1 * len(answers)
    assert receiver.stop() == 0
