"""Through which states a work order may go: one table, and the question whether a move is in it."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

#: State -> states that may follow it. Parts come and go before the start, places too; what is signed off stays so.
MOVES: Final = MappingProxyType(
    {
        "raised": frozenset({"ready", "placed", "under_way", "withdrawn"}),
        "ready": frozenset({"raised", "placed", "under_way", "withdrawn"}),
        "placed": frozenset({"raised", "ready", "under_way", "withdrawn"}),
        "under_way": frozenset({"done", "withdrawn"}),
        # Work that does not satisfy whoever signs it off goes back.
        "done": frozenset({"signed_off", "under_way"}),
        "signed_off": frozenset(),
        "withdrawn": frozenset(),
    }
)


def may_move(state: str, to: str) -> bool:
    """Say whether a work order in a state may go to another.

    Raises
    ------
    KeyError
        for a state that the table does not know
    """
    if to not in MOVES:
        raise KeyError(to)
    return to in MOVES[state]
