"""Changes in the stores, one function for each thing somebody can do."""

from inventory.actions.claims import lacking
from inventory.actions.moves import count, give_back, issue, receive, scrap, transfer
from inventory.actions.ordering import (
    DrawnUp,
    Received,
    change_quantities,
    draw_up_orders,
    likely_arrival,
    order_part,
    promise,
    receive_line,
    send,
    withdraw,
)
from inventory.actions.refusals import MoveRefused, OrderRefused, TakesFromOthers
from inventory.actions.reserving import close_reservation, release, reserve

__all__ = [
    "DrawnUp",
    "MoveRefused",
    "OrderRefused",
    "Received",
    "TakesFromOthers",
    "change_quantities",
    "close_reservation",
    "count",
    "draw_up_orders",
    "give_back",
    "issue",
    "lacking",
    "likely_arrival",
    "order_part",
    "promise",
    "receive",
    "receive_line",
    "release",
    "reserve",
    "scrap",
    "send",
    "transfer",
    "withdraw",
]
