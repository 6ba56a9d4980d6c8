"""Processes: who am I, does that one still live, and nobody outlives the server (Linux)."""

import contextlib
import ctypes
import os
import signal
import socket
import sys
from pathlib import Path

_PR_SET_PDEATHSIG = 1


def _start_ticks(pid: int) -> str | None:
    """Return when a process began, in the kernel's ticks; None where it is gone or only waits to be buried."""
    try:
        stat = Path(f"/proc/{pid}/stat").read_text()
    except OSError:
        return None
    # The name in brackets may hold blanks and brackets itself; what follows the last one is regular.
    fields = stat.rpartition(")")[2].split()
    return None if fields[0] in "ZX" else fields[19]


def identity(pid: int | None = None) -> str:
    """Return host, number and start of a process: a number alone is soon another process's."""
    pid = os.getpid() if pid is None else pid
    return f"{socket.gethostname()}:{pid}:{_start_ticks(pid) or '?'}"


def pid_of(process: str) -> int:
    """Return the number out of an identity."""
    return int(process.split(":")[-2])


def is_here(process: str) -> bool:
    """Say whether an identity names a process of this host."""
    return process.rpartition(":")[0].rpartition(":")[0] == socket.gethostname()


def is_alive(process: str) -> bool:
    """Say whether a process of this host still runs."""
    return process == identity(pid_of(process)) and not process.endswith("?")


def is_in_group(process: str, group: int) -> bool:
    """Say whether a live process of this host belongs to a process group."""
    try:
        return is_here(process) and is_alive(process) and os.getpgid(pid_of(process)) == group
    except ProcessLookupError:
        return False


def end_group(group: int) -> None:
    """End a whole process group at once: its leader's end alone leaves orphans that go on working."""
    with contextlib.suppress(ProcessLookupError):
        os.killpg(group, signal.SIGKILL)


def die_with_parent(parent: int) -> None:
    """Let the kernel end this process when its parent ends, however that comes about."""
    if sys.platform != "linux":
        return
    libc = ctypes.CDLL(None, use_errno=True)
    if libc.prctl(_PR_SET_PDEATHSIG, signal.SIGKILL, 0, 0, 0) != 0:
        raise OSError(ctypes.get_errno(), "prctl(PR_SET_PDEATHSIG) was refused")
    # It may have died before the call.
    if os.getppid() != parent:
        os.kill(os.getpid(), signal.SIGKILL)


def die_with_parent_in_every_fork() -> None:
    """Hand ``die_with_parent`` down: the kernel does not pass it on to forked processes by itself."""
    # The number of the forking process, noted just before it forks.
    forking = {"pid": os.getpid()}

    def note() -> None:
        forking["pid"] = os.getpid()

    os.register_at_fork(before=note, after_in_child=lambda: die_with_parent(forking["pid"]))
