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
from inventory.actions.taking_back import take_back
