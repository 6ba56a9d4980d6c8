"""A real server for tests: ``manage.py serve`` with a database of its own, and eyes on its processes."""

import json
import os
import secrets
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from django.db import connection

ROOT = Path(__file__).resolve().parents[2]
# Generous for a machine with other work to do; the promise of 30 s is measured apart.
PATIENCE_S = 60.0
# All the work that waits, on a machine that is starved besides.
LONG_PATIENCE_S = 3 * PATIENCE_S


def until(met: Callable[[], Any], what: str, within_s: float = PATIENCE_S) -> Any:
    """Wait until something is true and return it."""
    end = time.monotonic() + within_s
    while time.monotonic() < end:
        found = met()
        if found:
            return found
        time.sleep(0.05)
    raise AssertionError(f"not within {within_s:.0f} s: {what}")


def free_port() -> int:
    """Return a port on which nobody listens."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Server:
    """One mill's server; ``start`` may be called again after everything was killed."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.log = folder / "starts.txt"
        self.output = folder / "output.txt"
        self.port = free_port()
        self.process: subprocess.Popen[bytes] | None = None
        self.database = ""
        self.environ = {
            **os.environ,
            "KILNWARD_DATA_DIR": str(folder),
            "KILNWARD_TASK_MODULES": "tests.plant.background_tasks",
            "KILNWARD_TEST_LOG": str(self.log),
            "KILNWARD_TASK_TIMEOUT_S": "30",
            "KILNWARD_HEARTBEAT_S": "1",
            "KILNWARD_STOP_S": "5",
            "PYTHONUNBUFFERED": "1",
        }
        self.environ.pop("DATABASE_URL", None)
        if connection.vendor == "postgresql":
            self.database = f"kilnward_serve_{secrets.token_hex(4)}"
            host, user = os.environ["PGHOST"].replace("/", "%2F"), os.environ.get("PGUSER", "postgres")
            self.environ["DATABASE_URL"] = f"postgresql://{user}@{host}/{self.database}"

    def manage(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Run a management command to its end."""
        return subprocess.run(
            [sys.executable, "manage.py", *arguments],
            cwd=ROOT,
            env=self.environ,
            capture_output=True,
            text=True,
            timeout=120,
        )

    def drive(self, *arguments: str) -> Any:
        """Want jobs, or look at them, in a process with the server's database."""
        done = subprocess.run(
            [sys.executable, "-m", "tests.plant.driver", *arguments],
            cwd=ROOT,
            env=self.environ,
            capture_output=True,
            text=True,
            timeout=LONG_PATIENCE_S + 30,
        )
        assert done.returncode == 0, done.stderr
        return json.loads(done.stdout)

    def want(self, *jobs: tuple[str, dict[str, Any]]) -> None:
        """Want jobs: (task, arguments); the name is the key."""
        self.drive("want", json.dumps(jobs))

    def ended(self) -> dict[str, tuple[str, int]]:
        """Wait until every job has ended; return key -> (state, attempts)."""
        found = self.drive("ended", str(LONG_PATIENCE_S))
        return {key: (state, attempts) for key, state, attempts in found}

    def start(self, *options: str, command: str = "serve") -> None:
        """Start it and wait until it answers."""
        size = self.begin(*options, command=command)
        until(lambda: b"answers at" in self.output.read_bytes()[size:] or self.process.poll(), "an answer")  # type: ignore[union-attr]
        assert self.process is not None
        assert self.process.poll() is None, self.output.read_text()

    def begin(self, *options: str, command: str = "serve") -> int:
        """Start it without waiting; return how much it had said before."""
        with self.output.open("ab") as stream:
            size = stream.tell()
            self.process = subprocess.Popen(
                [sys.executable, "manage.py", command, "--port", str(self.port), *options],
                cwd=ROOT,
                env=self.environ,
                stdout=stream,
                stderr=stream,
            )
        return size

    def processes(self) -> list[int]:
        """Return all live processes with this server's data folder in their environment."""
        mark = f"KILNWARD_DATA_DIR={self.folder}\0".encode()
        found = []
        for entry in Path("/proc").iterdir():
            if not entry.name.isdigit():
                continue
            with suppress(OSError):
                if mark in (entry / "environ").read_bytes() and _status(int(entry.name))[0] not in "ZX":
                    found.append(int(entry.name))
        return found

    def children(self, pid: int) -> list[int]:
        """Return the processes a process started, oldest first."""
        return sorted(child for child in self.processes() if _status(child)[1] == str(pid))

    def descendants(self) -> list[int]:
        """Return all its processes but the first, which looks after them."""
        assert self.process is not None
        return [pid for pid in self.processes() if pid != self.process.pid]

    def workers(self) -> list[int]:
        """Return the two processes that do tasks."""
        assert self.process is not None
        for child in self.children(self.process.pid):
            if b"\0worker\0" in Path(f"/proc/{child}/cmdline").read_bytes():
                # The cluster's guard starts its workers first, then its two helpers.
                for guard in self.children(child):
                    started = self.children(guard)
                    if len(started) >= 4:
                        return started[:2]
        return []

    def starts(self) -> list[tuple[str, int]]:
        """Return (name, process) of every start of a task so far."""
        if not self.log.exists():
            return []
        return [(name, int(pid)) for name, pid in (line.rsplit(" ", 1) for line in self.log.read_text().splitlines())]

    def names(self) -> list[str]:
        """Return the names of every start so far."""
        return [name for name, _pid in self.starts()]

    def kill_everything(self) -> None:
        """End all its processes at once, the server first."""
        pids = self.processes()
        for pid in sorted(pids):
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        if self.process is not None:
            self.process.wait(PATIENCE_S)
        until(lambda: not self.processes(), "nothing is left")

    def stop(self) -> int:
        """Tell it to end and return its exit code."""
        assert self.process is not None
        self.process.terminate()
        return self.process.wait(PATIENCE_S)


def _status(pid: int) -> tuple[str, str]:
    """Return a process's state and its parent."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return fields[0], fields[1]
