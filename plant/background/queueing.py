"""Wanting work: a job under its key, and the row of the queue that stands for it."""

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone
from django_q.brokers.orm import ORM
from django_q.models import OrmQ
from django_q.tasks import async_task

from plant.access import require
from plant.background.registry import function_of
from plant.models import Change, Job

if TYPE_CHECKING:
    from plant.models import User


# A job that waits so long tells of a worker that does not run. Our own choice.
WAITS_LONG = timedelta(seconds=20)


class _TellingBroker(ORM):  # type: ignore[misc]
    """The database broker, which also tells the row it wrote."""

    row: int

    def enqueue(self, task: str) -> int:
        """Write the row and remember its number."""
        self.row = super().enqueue(task)
        return self.row


def put(function: str, *arguments: Any) -> int:
    """Put a call of plant.tasks on the queue and return its row; inside a transaction it vanishes with a rollback."""
    broker = _TellingBroker()
    # Its outcome is kept by us: neither successes nor tries are left to the queue.
    async_task(f"plant.tasks.{function}", *arguments, q_options={"broker": broker, "save": False, "ack_failure": True})
    return broker.row


def take_off(row: int | None) -> None:
    """Take a row off the queue; it may be gone already."""
    if row is not None:
        OrmQ.objects.filter(pk=row).delete()


def enqueue(
    what: str,
    key: str,
    arguments: dict[str, Any] | None = None,
    by: "User | None" = None,
    not_before_at: datetime | None = None,
) -> Job:
    """Want a task once under a key and return its job; a second call with the key changes nothing.

    Call it inside the transaction that makes the work necessary: both are stored or neither. Arguments are ids and
    other plain values, not objects. Raises UnknownTaskError for a task that nobody registered.
    """
    function_of(what)
    arguments = arguments or {}
    for name, value in arguments.items():
        if not isinstance(value, str | int | bool | None):
            raise TypeError(f"The argument {name} of “{what}” is a {type(value).__name__}: hand over its id.")
    moment = timezone.now()
    with transaction.atomic():
        job, is_new = Job.objects.get_or_create(
            key=key,
            defaults={
                "what": what,
                "arguments": arguments,
                "wanted_at": moment,
                "wanted_by": by,
                "not_before_at": not_before_at or moment,
            },
        )
        if job.what != what:
            raise ValueError(f"The key “{key}” stands for “{job.what}”, not for “{what}”.")
        if is_new and job.not_before_at <= moment:
            put_on_queue(job)
    return job


def put_on_queue(job: Job) -> None:
    """Let a row of the queue stand for a waiting job."""
    job.queue_row = put("run", job.pk)
    job.save(update_fields=["queue_row"])


def start_again(job_id: int, by: "User | None") -> bool:
    """Want a failed job once more, with all its tries; False where it is not failed (any more)."""
    require(by, "steer background work")
    moment = timezone.now()
    with transaction.atomic():
        job = Job.objects.select_for_update().get(pk=job_id)
        if job.state != Job.State.FAILED:
            return False
        before = {"state": job.state, "failure": job.failure_in_short}
        job.state = Job.State.WAITING
        job.wanted_at = job.not_before_at = moment
        job.wanted_by = by
        job.finished_at = None
        job.failure, job.failed_why, job.progress_note = "", (), ()
        job.progress_done = job.progress_total = 0
        job.save()
        put_on_queue(job)
        Change.record(job, "started again", by=by, before=before, after={"state": job.state})
    return True


def waits_long(job: Job) -> bool:
    """Say whether a job has waited so long that no worker seems to run."""
    return job.state == Job.State.WAITING and timezone.now() - job.wanted_at > WAITS_LONG
