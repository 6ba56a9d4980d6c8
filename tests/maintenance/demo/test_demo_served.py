"""The demo as somebody starts it: pages first, then the rest; two starts at once, a kill in the middle."""

import http.cookiejar
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlencode
from urllib.request import HTTPCookieProcessor, build_opener

import pytest

from maintenance.demo.filling import FILL_TASK
from maintenance.demo.setting_up import DEMO_PASSWORD
from tests.plant.conftest import on_postgresql
from tests.plant.serving import ROOT, Server, until

pytestmark = pytest.mark.slow
SMALL = ("--months", "2", "--reading-days", "1", "--plan-seconds", "2")
FILLING = 'id="demo-filling"'


class Visitor:
    """Somebody with a browser of their own."""

    def __init__(self, server: Server) -> None:
        self.address = f"http://127.0.0.1:{server.port}"
        self.opener = build_opener(HTTPCookieProcessor(http.cookiejar.CookieJar()))

    def sign_in(self, name: str) -> str:
        """Sign in and return the first page."""
        token = re.search(r'csrfmiddlewaretoken" value="(\w+)', self.see("/sign-in/"))
        assert token is not None
        form = {"csrfmiddlewaretoken": token[1], "username": name, "password": DEMO_PASSWORD}
        return self.see("/sign-in/", urlencode(form).encode())

    def see(self, path: str, sent: bytes | None = None) -> str:
        """Return a page."""
        with self.opener.open(self.address + path, sent, timeout=60) as answer:
            return str(answer.read().decode())


@pytest.fixture
def fresh_server(tmp_path: Path) -> Iterator[Server]:
    """Give a server without any tables; whatever is left of it is killed afterwards."""
    server = Server(tmp_path)
    on_postgresql(f'CREATE DATABASE "{server.database}"')
    yield server
    server.kill_everything()
    on_postgresql(f'DROP DATABASE "{server.database}" WITH (FORCE)')


def fillings(server: Server) -> list[tuple[str, int]]:
    """Return how each filling stands, and how often it was begun."""
    jobs = server.drive("want", "[]")
    return [(state, attempts) for key, state, attempts in jobs if key.startswith(FILL_TASK)]


def test_pages_come_first_and_what_a_kill_cut_off_goes_on_at_the_next_start(fresh_server: Server) -> None:
    server = fresh_server
    go = server.folder / "go"
    server.environ |= {"KILNWARD_TASK_MODULES": "tests.maintenance.demo.held", "KILNWARD_TEST_GO": str(go)}
    server.start(*SMALL, command="demo")
    visitor = Visitor(server)
    first_page = visitor.sign_in("ilse")
    assert "end view" in first_page and "K8" in first_page
    assert FILLING in first_page
    until(lambda: "a first plan comes after it" in visitor.see("/demo/filling/"), "the readings are in")
    for path in ("/kilns/K1/", "/kilns/K1/climate/", "/openings/", "/openings/plans/", "/availability/", "/rounds/"):
        assert FILLING in visitor.see(path)
    server.kill_everything()

    server.start(*SMALL, command="demo")
    visitor = Visitor(server)
    assert FILLING in visitor.sign_in("oda")
    go.touch()
    until(lambda: "is filled" in visitor.see("/demo/filling/"), "the demo is filled")
    board = visitor.see("/openings/")
    assert FILLING not in board
    assert "The day was never worked out yet" not in board
    assert "The first plan" in visitor.see("/openings/plans/")
    assert fillings(server) == [("finished", 2)]


def test_of_two_starts_at_once_each_finds_a_mill_that_is_whole(fresh_server: Server) -> None:
    server = fresh_server
    command = [sys.executable, "manage.py", "demo", "--no-serve", "--months", "2", "--reading-days", "0"]
    starts = [
        subprocess.Popen(
            [*command, "--plan-seconds", "2"],
            cwd=ROOT,
            env=server.environ,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
        )
        for _ in range(2)
    ]
    said = [start.communicate(timeout=300)[0].decode() for start in starts]
    assert [start.returncode for start in starts] == [0, 0], said
    for words in said:
        assert "A plan is worked out" in words
        assert DEMO_PASSWORD in words
    assert fillings(server) == [("finished", 1)]
