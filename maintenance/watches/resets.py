"""Let watches begin anew once the work that they raised is done."""

from maintenance.models import Firing, Watch, WorkOrder
from plant import clock
from plant.basics.periods import to_epoch_s

# These count or compare with what was before; the others are over as soon as the readings say so.
COUNTS_SINCE = ("running_since", "drift", "trend")
# Older ones lie behind the charges that are looked at.
MOST_RESETS = 20


def begin_anew(order: WorkOrder) -> None:
    """Let rules that count or compare since the last work start from now; call it in the transaction that ends it."""
    watches = Watch.objects.filter(firings__work_order=order, rule__in=COUNTS_SINCE)
    now = clock.now()
    for watch in Watch.objects.select_for_update().filter(pk__in=watches.values("pk")).order_by("pk"):
        if watch.rule == "running_since":
            watch.carried = {"since_s": to_epoch_s(now)}
        else:
            watch.carried = {"resets_s": [*watch.carried.get("resets_s", []), to_epoch_s(now)][-MOST_RESETS:]}
        watch.save(update_fields=["carried"])
        Firing.objects.going_on().filter(watch=watch, begin_at__lte=now).update(end_at=now)
