"""What the ground storey tells those above it."""

from django.dispatch import Signal

# Sent with ``kiln``, ``from_s`` and ``until_s`` (seconds since 1970, both ends included) when the readings of a span
# have their marks and days in short. It is sent inside the transaction that settles them: what a receiver stores, or
# the task it enqueues, is kept together with the settling or not at all, and a receiver that fails leaves the span
# unsettled.
readings_settled = Signal()

# Sent with ``kiln``, ``kind`` ("charge begun") and ``facts`` (a dict for the record) when a file or another program
# reports that a kiln runs although something stands against it (``plant.warnings.running_bars``). The report is kept;
# the receiver raises the alarm inside the same transaction.
runs_against_bar = Signal()

# Sent with ``kiln``, ``from_s`` and ``until_s`` when readings that were not known came in, by whatever way, inside the
# transaction that stores them and before anything is settled: for what cannot wait two minutes.
readings_came = Signal()
