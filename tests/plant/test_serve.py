"""The server as a mill runs it: whatever is killed, no job is lost, none goes on for ever, and nothing is left over."""

import os
import signal
import socket
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.plant.serving import Server, until

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="looks into /proc")


def test_work_goes_on_after_idle_workers_were_killed_and_an_end_leaves_no_orphan(server: Server) -> None:
    server.start()
    server.want(("test: work", {"name": "before"}))
    server.ended()
    workers = until(server.workers, "two idle workers")
    for pid in workers:
        os.kill(pid, signal.SIGKILL)
    server.want(("test: work", {"name": "after"}))
    until(lambda: "after" in server.names(), "the job starts")
    assert server.ended() == {"after": ("finished", 1), "before": ("finished", 1)}

    assert server.stop() == 0
    assert server.processes() == []


def test_a_killed_workers_job_is_done_and_one_that_kills_its_worker_is_started_three_times(
    server: Server,
) -> None:
    server.start()
    server.want(("test: work", {"name": "long", "tenths": 20}), ("test: end own worker", {"name": "deadly"}))
    pid = until(lambda: dict(server.starts()).get("long"), "the long job starts")
    os.kill(pid, signal.SIGKILL)
    server.want(("test: work", {"name": "other"}))
    until(lambda: server.names().count("long") == 2, "the long job starts again")
    assert server.ended() == {"deadly": ("failed", 3), "long": ("finished", 2), "other": ("finished", 1)}
    assert sorted(server.names()) == ["deadly"] * 3 + ["long"] * 2 + ["other"]


def kill_all(server: Server) -> None:
    """End every process at once."""
    server.kill_everything()


def kill_first(server: Server) -> None:
    """End the server's first process only: the others must follow by themselves."""
    assert server.process is not None
    server.process.kill()
    server.process.wait()
    until(lambda: not server.processes(), "the others followed")


@pytest.mark.parametrize("kill", [kill_all, kill_first])
def test_after_everything_was_killed_a_new_start_loses_nothing(server: Server, kill: Callable[[Server], None]) -> None:
    server.start()
    jobs = [("test: work", {"name": f"job {n}", "tenths": 8}) for n in range(6)]
    server.want(*jobs)
    until(lambda: len(server.starts()) == 2, "two jobs start")
    kill(server)
    begun = server.names()

    server.start()
    ended = server.ended()
    assert {state for state, _attempts in ended.values()} == {"finished"}
    assert len(ended) == 6
    # What was in the middle was started twice, what waited once.
    assert {key: attempts for key, (_state, attempts) in ended.items()} == {
        f"job {n}": 2 if f"job {n}" in begun else 1 for n in range(6)
    }


def test_a_running_job_may_end_when_the_server_is_told_to_stop(server: Server) -> None:
    server.start()
    server.want(("test: work", {"name": "short", "tenths": 10}))
    until(server.names, "the job starts")
    assert server.stop() == 0
    assert server.processes() == []
    assert server.ended() == {"short": ("finished", 1)}


def test_a_job_too_long_to_wait_for_is_interrupted_and_done_at_the_next_start(server: Server) -> None:
    server.environ["KILNWARD_STOP_S"] = "1"
    server.start()
    server.want(("test: work", {"name": "long", "tenths": 30}))
    until(server.names, "the job starts")
    assert server.stop() == 0
    assert server.processes() == []
    server.start()
    assert server.ended() == {"long": ("finished", 2)}


def test_a_second_server_of_one_mill_says_who_does_the_work_already(server: Server) -> None:
    server.start()
    second = server.manage("serve", "--no-web")
    assert second.returncode == 1
    assert "by another server already" in second.stderr


def test_a_port_in_use_is_named(server: Server) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        refused = server.manage("serve", "--port", str(port))
    assert refused.returncode == 1
    assert f"Port {port} is in use" in refused.stderr


def test_a_database_that_does_not_answer_is_named(server: Server) -> None:
    server.environ["DATABASE_URL"] = "postgresql://nobody@127.0.0.1:1/kilnward"
    refused = server.manage("serve")
    assert refused.returncode == 1
    assert "does not answer" in refused.stderr
    assert "Traceback" not in refused.stderr


def test_a_database_that_is_not_up_to_date_is_named(tmp_path: Path) -> None:
    server = Server(tmp_path)
    server.environ["DATABASE_URL"] = f"sqlite:///{tmp_path}/empty.sqlite3"
    refused = server.manage("serve")
    assert refused.returncode == 1
    assert "manage.py migrate" in refused.stderr


def test_half_a_certificate_is_refused(server: Server) -> None:
    server.environ["KILNWARD_CERTIFICATE"] = str(server.folder / "mill.pem")
    refused = server.manage("serve")
    assert refused.returncode == 1
    assert "KILNWARD_CERTIFICATE_KEY is missing" in refused.stderr
