"""What it costs that acknowledged readings lie on the disk: SQLite's FULL against NORMAL, batch by batch."""

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from statistics import fmean

from tests.benchmarks.harness import BenchmarkError, Measured, Target

ROOT = Path(__file__).resolve().parents[2]


def run() -> list[Measured]:
    """Measure in a database file of its own; the disk decides, so the price is told and no target asked of it."""
    with tempfile.TemporaryDirectory(prefix="kilnward-disk-") as folder:
        environ = {**os.environ, "KILNWARD_DATA_DIR": folder}
        environ.pop("DATABASE_URL", None)
        done = subprocess.run(
            [sys.executable, "-m", "tests.benchmarks.on_disk_driver"],
            cwd=ROOT,
            env=environ,
            capture_output=True,
            text=True,
            timeout=600,
        )
    if done.returncode:
        raise BenchmarkError(f"readings could not be taken in: {done.stderr[-500:]}")
    took = json.loads(done.stdout.splitlines()[-1])
    synced, unsynced = (1000 * fmean(took[kind]) for kind in ("FULL", "NORMAL"))
    worst = {kind: 1000 * max(took[kind]) for kind in took}
    note = f"{len(took['FULL'])} batches; worst {worst['FULL']:.0f} ms, against {worst['NORMAL']:.0f} ms unsynced"
    name = "20 readings on the disk before they are acknowledged, mean"
    return [Measured(name, synced, unsynced, "ms", synced / unsynced, Target(), note)]
