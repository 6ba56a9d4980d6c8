"""The worker's heartbeat: one row, touched whenever a worker takes something off the queue or ends it."""

from django.db import transaction
from django.utils import timezone
from django_q.models import OrmQ

from plant.background.process import identity
from plant.background.queueing import put, take_off
from plant.models import Heartbeat

NAME = "worker"


def hear() -> None:
    """Note that this process, a worker, gets work from the queue."""
    Heartbeat.objects.update_or_create(name=NAME, defaults={"at": timezone.now(), "worker": identity()})


def answer() -> None:
    """Answer the question “do you live?”; run by a worker."""
    hear()
    row = Heartbeat.objects.values_list("queue_row", flat=True).get(name=NAME)
    take_off(row)


def ask() -> None:
    """Put the question on the queue, unless the last one still waits there."""
    with transaction.atomic():
        beat, _new = Heartbeat.objects.select_for_update().get_or_create(name=NAME)
        if beat.queue_row is None or not OrmQ.objects.filter(pk=beat.queue_row).exists():
            beat.queue_row = put("answer_heartbeat")
            beat.save(update_fields=["queue_row"])
