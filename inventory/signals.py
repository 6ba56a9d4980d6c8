"""What the stores tell the storeys above."""

from django.dispatch import Signal

# Sent within the transaction in which parts left the shelf that were set aside: part, claims (inventory.shelf.Claim, as
# they stand now: what each still wants, and how much of it is not there any more), by (User or None), and reason.
set_aside_fell_short = Signal()
