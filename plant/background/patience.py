"""How long a child may say nothing before it is started anew."""

import os
import time

# Python, Django and the libraries may take minutes to start on a small machine under load.
FIRST_SIGN_S = 180.0
LONGEST_S = 3600.0


def load_per_core() -> float:
    """Return how many processes want each core, at least 1."""
    return max(1.0, os.getloadavg()[0] / (os.cpu_count() or 1))


class Patience:
    """Waits for signs of life from one child.

    A fresh one gets minutes for its first sign, one that gave a sign ``silent_s`` for the next, both the longer the
    more processes share the machine. Where a child was started anew and gave no sign at all, that was in vain, and the
    next is given twice as long: a machine that is too busy is not helped by more starts.
    """

    def __init__(self, silent_s: float) -> None:
        self.silent_s = silent_s
        self.vain_starts = 0
        self.has_started = False
        self.was_heard = False
        self.since = time.monotonic()

    def started(self) -> None:
        """Note that the child was started (anew)."""
        self.vain_starts += self.has_started and not self.was_heard
        self.has_started = True
        self.was_heard = False
        self.wait_anew()

    def sign(self) -> None:
        """Note a sign of life."""
        self.was_heard = True
        self.vain_starts = 0
        self.wait_anew()

    def wait_anew(self) -> None:
        """Count from now, because until now nothing could be heard."""
        self.since = time.monotonic()

    def allowed_s(self) -> float:
        """Return how long it may be silent now."""
        silent_s = self.silent_s if self.was_heard else max(self.silent_s, FIRST_SIGN_S)
        return min(LONGEST_S, silent_s * 2.0**self.vain_starts * load_per_core())

    def is_over(self) -> float:
        """Return for how long it has been silent where that is too long, else 0."""
        silent_s = time.monotonic() - self.since
        return silent_s if self.has_started and silent_s > self.allowed_s() else 0.0
