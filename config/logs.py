"""What the log says of a request that failed."""

import logging

from plant.frame.database_away import is_away


class OneLineWhileAway(logging.Filter):
    """Says in one line, for each request, that the database is away or the disk full: the way there is no news."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Take the traceback out."""
        fault = record.exc_info[1] if record.exc_info else None
        if is_away(fault):
            why = " ".join(str(fault).split())
            record.msg, record.args = "The database is away or the disk is full (%s): %s", (record.getMessage(), why)
            record.exc_info, record.exc_text = None, None
            record.levelno, record.levelname = logging.WARNING, "WARNING"
        return True
