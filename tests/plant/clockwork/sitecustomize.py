"""Sets the clock of a test's server when a file says so, and makes its worker slow; found through PYTHONPATH."""

import os
import sys
import threading
import time
from pathlib import Path

import time_machine

_FILE = os.environ.get("KILNWARD_TEST_CLOCK")
_true_time = time.time


def _watch() -> None:
    said = Path(_FILE or "")
    while not said.exists():
        time.sleep(0.1)
    # Time goes on from there; the clock that is never set stays as it is.
    time_machine.travel(_true_time() + float(said.read_text()), tick=True).start()


def _start() -> None:
    if not time_machine.escape_hatch.is_travelling():
        threading.Thread(target=_watch, daemon=True).start()


if _FILE:
    _start()
    # Threads do not survive a fork.
    os.register_at_fork(after_in_child=_start)

_slow_s = os.environ.get("KILNWARD_TEST_WORKER_COMES_UP_AFTER_S")
if _slow_s and "worker" in sys.orig_argv:
    time.sleep(float(_slow_s))
    with Path(os.environ["KILNWARD_DATA_DIR"], "came_up.txt").open("a") as _ups:
        _ups.write(f"{os.getpid()}\n")
