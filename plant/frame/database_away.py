"""Is the database away, or the disk full? Then asking again later helps; else it is a fault of ours."""

import errno
import sqlite3

from django.db import InterfaceError, OperationalError

SQLITE_BUSY, SQLITE_LOCKED, SQLITE_READONLY, SQLITE_IOERR, SQLITE_FULL, SQLITE_CANTOPEN = 5, 6, 8, 10, 13, 14
_SQLITE_PASSING = frozenset({SQLITE_BUSY, SQLITE_LOCKED, SQLITE_READONLY, SQLITE_IOERR, SQLITE_FULL, SQLITE_CANTOPEN})
_DISK = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EROFS})


def is_away(fault: BaseException | None) -> bool:
    """Say whether a fault will pass by itself or by mending the machine, not the program."""
    if isinstance(fault, OSError):
        return fault.errno in _DISK
    if isinstance(fault, InterfaceError):
        return True
    if not isinstance(fault, OperationalError):
        return False
    cause = fault.__cause__
    if isinstance(cause, sqlite3.Error):
        # The lowest byte is the kind, the others say more closely.
        return getattr(cause, "sqlite_errorcode", 0) & 0xFF in _SQLITE_PASSING
    return True
