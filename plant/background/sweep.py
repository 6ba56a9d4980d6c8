"""The sweep: no job is lost when a worker, or everything, was ended in the middle."""

from datetime import timedelta

from django.conf import settings
from django.db import transaction
from django.utils import timezone
from django_q.models import OrmQ

from plant.background.process import is_alive, is_here, is_in_group
from plant.background.queueing import put_on_queue
from plant.background.running import close, give_up_if_hopeless
from plant.models import Job, JobAttempt

# Python needs a moment between a task's time limit and its worker's end.
OVERRUN_S = 15


def is_gone(attempt: JobAttempt) -> bool:
    """Say whether the process of a live attempt no longer exists; on another host only time can tell."""
    if is_here(attempt.worker):
        return not is_alive(attempt.worker)
    return timezone.now() - attempt.started_at > timedelta(seconds=settings.Q_CLUSTER["retry"])


def attempts_of_group(group: int) -> list[JobAttempt]:
    """Return the live attempts whose workers belong to a process group."""
    return [attempt for attempt in JobAttempt.objects.live() if is_in_group(attempt.worker, group)]


def release(attempts: list[JobAttempt], outcome: str) -> None:
    """Close the attempts of workers that ended, and let their jobs wait again or give them up."""
    for attempt in attempts:
        with transaction.atomic():
            job = Job.objects.select_for_update().get(pk=attempt.job_id)
            if close(attempt, outcome):
                job.state = Job.State.WAITING
                job.save(update_fields=["state"])
                if not give_up_if_hopeless(job):
                    unlock_rows(job.queue_row)


def unlock_rows(row: int | None = None) -> None:
    """Let a row that a vanished worker had taken be taken again at once; without a row, all of them."""
    rows = OrmQ.objects.filter(key=settings.Q_CLUSTER["name"], lock__gt=timezone.now() - timedelta(seconds=1))
    if row is not None:
        rows = rows.filter(pk=row)
    rows.update(lock=timezone.now() - timedelta(seconds=1))


def sweep() -> None:
    """Release the jobs of vanished workers, and queue what is due and has no row in the queue."""
    release([attempt for attempt in JobAttempt.objects.live() if is_gone(attempt)], JobAttempt.Outcome.VANISHED)
    for pk in Job.objects.forgotten_by_the_queue(timezone.now()).values_list("pk", flat=True)[:500]:
        with transaction.atomic():
            job = Job.objects.select_for_update().get(pk=pk)
            if job.state == Job.State.WAITING and not OrmQ.objects.filter(pk=job.queue_row).exists():
                put_on_queue(job)
