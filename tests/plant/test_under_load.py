"""A machine with far more to do than it can, and one whose clock is set back: the background work goes on."""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.plant.receiving import sql
from tests.plant.serving import Server, until

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="looks into /proc")

LOAD = 40
# They end by themselves, whatever becomes of the test.
AT_MOST_S = 240
IDLE = f"import time\nend = time.monotonic() + {AT_MOST_S}\nwhile time.monotonic() < end: pass"


@contextmanager
def load() -> Iterator[None]:
    """Let so many processes want a core each."""
    busy = [subprocess.Popen([sys.executable, "-S", "-c", IDLE]) for _ in range(LOAD)]
    try:
        yield
    finally:
        for process in busy:
            process.kill()
        for process in busy:
            process.wait()


def restarts(server: Server) -> int:
    """Return how often the worker was started anew."""
    return int(sql(server, "SELECT restarts FROM plant_heartbeat")[0][0])


def test_at_a_load_of_forty_the_worker_comes_up_and_works(server: Server) -> None:
    server.want(("test: work", {"name": "under load"}))
    with load():
        server.begin()
        until(server.names, "the job starts", within_s=AT_MOST_S)
        # Patience, not luck: it was not started again and again until it came up.
        assert restarts(server) <= 1
        server.kill_everything()


def test_with_the_clock_set_back_by_an_hour_nothing_stops_and_nothing_runs_twice(server: Server) -> None:
    clock = server.folder / "clock.txt"
    server.environ |= {"PYTHONPATH": str(Path(__file__).parent / "clockwork"), "KILNWARD_TEST_CLOCK": str(clock)}
    server.start()
    server.want(("test: work", {"name": "before"}))
    assert server.ended() == {"before": ("finished", 1)}
    server.want(("test: work", {"name": "meanwhile", "tenths": 60}))
    until(lambda: "meanwhile" in server.names(), "the job starts")
    clock.write_text("-3600")
    until(lambda: b"clock was set" in server.output.read_bytes(), "the server sees it")
    server.want(("test: work", {"name": "after"}))
    assert server.ended() == {
        "after": ("finished", 1),
        "before": ("finished", 1),
        "meanwhile": ("finished", 1),
    }
    assert sorted(server.names()) == ["after", "before", "meanwhile"]
    assert restarts(server) == 0
    assert server.stop() == 0
