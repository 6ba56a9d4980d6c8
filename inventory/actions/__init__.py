"""Changes in the storeroom, one function for each thing somebody can do."""

from inventory.actions.moves import MoveRefused, count, give_back, issue, receive, scrap, transfer
from inventory.actions.reserving import close_reservation, release, reserve

__all__ = [
    "MoveRefused",
    "close_reservation",
    "count",
    "give_back",
    "issue",
    "receive",
    "release",
    "reserve",
    "scrap",
    "transfer",
]
