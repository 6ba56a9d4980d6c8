"""A machine so busy that the worker takes long to come up, and one whose clock is set back: the work goes on."""

import sys
from pathlib import Path

import pytest

from plant.background.supervise import SILENT_BEATS
from tests.plant.receiving import sql
from tests.plant.serving import Server, until

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="looks into /proc")

CLOCKWORK = str(Path(__file__).parent / "clockwork")


def restarts(server: Server) -> int:
    """Return how often the worker was started anew."""
    return int(sql(server, "SELECT restarts FROM plant_heartbeat")[0][0])


def test_a_worker_that_takes_long_to_come_up_is_waited_for_not_started_again_and_again(server: Server) -> None:
    # As at a load of forty: several times longer than a worker that has once been heard may be silent.
    comes_up_after_s = 6 * SILENT_BEATS * float(server.environ["KILNWARD_HEARTBEAT_S"])
    server.environ |= {"PYTHONPATH": CLOCKWORK, "KILNWARD_TEST_WORKER_COMES_UP_AFTER_S": str(comes_up_after_s)}
    server.want(("test: work", {"name": "at last"}))
    server.start()
    assert server.ended() == {"at last": ("finished", 1)}
    assert len((server.folder / "came_up.txt").read_text().splitlines()) == 1
    assert restarts(server) == 0
    assert server.stop() == 0


def test_with_the_clock_set_back_by_an_hour_nothing_stops_and_nothing_runs_twice(server: Server) -> None:
    clock = server.folder / "clock.txt"
    server.environ |= {"PYTHONPATH": CLOCKWORK, "KILNWARD_TEST_CLOCK": str(clock)}
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
