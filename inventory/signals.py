"""What the stores tell the storeys above."""

from django.dispatch import Signal

# Sent within the transaction in which parts left the shelf that were set aside: part, claims (inventory.shelf.Claim, as
# they stand now: what each still wants, and how much of it is not there any more), by (User or None), and reason.
set_aside_fell_short = Signal()

# Sent within the transaction in which an issue from what was set aside was taken back as booked wrongly: reservation,
# as it stands now, and by (User or None). Whether it is still wanted only the storey above knows.
issue_taken_back = Signal()
