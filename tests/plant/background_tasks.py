"""Tasks that only tests know; each start leaves a line in a file: the task's name and its process."""

import os
import signal
import time
from pathlib import Path
from typing import Any

from plant.background.registry import CannotBeDoneError, Progress, task
from plant.basics.sentences import typed


def _note(name: str) -> None:
    log = os.environ.get("KILNWARD_TEST_LOG")
    if log:
        with Path(log).open("a") as stream:
            stream.write(f"{name} {os.getpid()}\n")


@task("test: work")
def work(progress: Progress, name: str, tenths: int = 0) -> dict[str, Any]:
    """Work for a while."""
    _note(name)
    for done in range(tenths):
        time.sleep(0.1)
        progress(done + 1, tenths, typed("working"))
    return {"name": name}


@task("test: end own worker")
def end_own_worker(progress: Progress, name: str) -> None:
    """Do what running out of memory does."""
    _note(name)
    os.kill(os.getpid(), signal.SIGKILL)


@task("test: fail")
def fail(progress: Progress, name: str) -> None:
    """Fail for a reason that may pass."""
    _note(name)
    raise RuntimeError(f"no luck with {name}")


@task("test: refuse")
def refuse(progress: Progress) -> None:
    """Fail for a reason that will not pass."""
    raise CannotBeDoneError(typed("The file has no rows."))


@task("test: odd result")
def odd_result(progress: Progress) -> dict[str, Any]:
    """Return what cannot be stored."""
    return {"made": object()}
