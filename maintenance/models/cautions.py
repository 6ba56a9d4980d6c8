"""Which cautions a sitting or a job shows, and what whoever confirms them can truthfully say: one answer for all.

Beside a running kiln nobody can say that its energies are locked out, and nobody goes in: there the cautions speak of
hot surfaces, fans and steam. Where the kiln is off they ask for the lock-out and name the energies.
"""

from collections.abc import Iterable
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

if TYPE_CHECKING:
    from maintenance.models import Caution

RUNNING, EMPTY, STILL, ANY = "running", "empty", "still", "any"
# What holds in a state of the kiln whatever is done.
ALWAYS = {
    RUNNING: frozenset({"general", "beside-running"}),
    EMPTY: frozenset({"general", "lock-out", "warm-chamber"}),
    STILL: frozenset({"general", "lock-out", "warm-chamber"}),
    ANY: frozenset({"general"}),
}
# The state that a job needs, for the state in which a point is looked at.
STATE_OF_LOOK = {"running": RUNNING, "open_empty": EMPTY, "either": ANY}
LOCK_OUT = "lock-out"


def that_hold(cautions: "Iterable[Caution]", state: str) -> "list[Caution]":
    """Return those that hold in a state of the kiln, each with what must be so there.

    Work that may be done in any state takes nobody inside; its cautions say what must be so with the kiln off and
    beside it while it runs, where the two differ.
    """
    held = [one for one in cautions if _holds(one, state)]
    energies = sorted({energy for one in held for energy in _listed(one.energies)})
    for one in held:
        one.must_be_so = _must_be_so(one, state)
        if one.code == LOCK_OUT and energies:
            one.must_be_so += " " + _("Among them here: %(energies)s.") % {"energies": ", ".join(energies)}
    return held


def _listed(words: str) -> list[str]:
    return [word.strip() for word in words.split(";") if word.strip()]


def _holds(caution: "Caution", state: str) -> bool:
    if caution.is_inside and state in (RUNNING, ANY):
        return False
    return state == ANY or state in _listed(caution.states)


def _must_be_so(caution: "Caution", state: str) -> str:
    off, running = caution.before_start, caution.beside_running
    if state == RUNNING:
        return running
    if state != ANY or not running or running == off:
        return off
    if not off:
        return running
    return _("With the kiln off: %(off)s While it runs: %(running)s") % {"off": off, "running": running}
