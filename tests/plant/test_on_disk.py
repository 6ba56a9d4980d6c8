"""Acknowledged means on the disk: what the system was told to write through, counted from outside the program.

SQLite's manual ("PRAGMA synchronous", "Write-Ahead Logging"): in WAL mode FULL syncs the log after each commit, NORMAL
leaves the last commits to the next checkpoint, and a power cut may lose them.
"""

import os
import re
import shutil
import subprocess
import sys
from itertools import takewhile

import pytest
from django.db import connection

from tests.plant.serving import ROOT, Server

pytestmark = [
    pytest.mark.skipif(sys.platform != "linux", reason="counts system calls"),
    pytest.mark.skipif(
        shutil.which("strace") is None and not os.environ.get("CI"), reason="counts system calls with strace"
    ),
]


def traced(server: Server, synchronous: str) -> list[str]:
    """Return the calls that write to the log of the database or sync it, and the acknowledgements between them."""
    trace = server.folder / f"trace-{synchronous}.txt"
    command = ["strace", "-f", "-y", "-s", "60", "-e", "trace=write,pwrite64,fsync,fdatasync", "-o", str(trace)]
    done = subprocess.run(
        [*command, sys.executable, "-m", "tests.plant.disk_driver", synchronous],
        cwd=ROOT,
        env=server.environ,
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    lines = trace.read_text(errors="replace").splitlines()
    return [line for line in lines if "-wal>" in line or "ACKNOWLEDGED" in line]


def synced(lines: list[str]) -> dict[str, bool]:
    """Return acknowledgement -> whether all that was written to the log before it was synced."""
    found: dict[str, bool] = {}
    wrote = is_synced = False
    for line in lines:
        if "ACKNOWLEDGED" in line:
            name = re.findall(r"ACKNOWLEDGED ([a-z0-9 ]+)", line)[0]
            found[name] = wrote and is_synced
            wrote = is_synced = False
        elif "sync(" in line:
            is_synced = True
        else:
            wrote, is_synced = True, False
    return found


@pytest.mark.django_db
def test_no_batch_move_or_permit_is_acknowledged_before_it_was_synced(receiver: Server) -> None:
    if connection.vendor != "sqlite":
        pytest.skip("PostgreSQL's server writes: “manage.py check --database default” asks how")
    found = synced(traced(receiver, "FULL"))
    assert list(takewhile(lambda name: name.startswith("batch"), found)) == [f"batch {n}" for n in range(20)]
    assert {"move", "permit"} <= set(found)
    assert [name for name, is_synced in found.items() if not is_synced] == []
    # The counting itself can tell: the mildest setting that many use leaves them to the next checkpoint.
    assert not any(synced(traced(receiver, "NORMAL")).values())
