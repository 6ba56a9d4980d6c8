"""Doing a job: an attempt on record before the work, one at a time, and an end to trying."""

import json
import time
import traceback
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils import timezone
from django_q.exceptions import TimeoutException

from plant.background import heartbeat
from plant.background.process import identity
from plant.background.queueing import take_off
from plant.background.registry import CannotBeDoneError, UnknownTaskError, function_of
from plant.basics.sentences import Sentence, Sentences, sentences
from plant.models import Job, JobAttempt

# A task that fails or takes its worker with it is tried so often.
MOST_TRIES = 3
# One that was only stopped with the server is not to blame, but must not be started for ever either.
MOST_STARTS = 10
PAUSES = (timedelta(seconds=10), timedelta(seconds=60))
PROGRESS_EVERY_S = 0.5
Outcome = JobAttempt.Outcome


class ClaimLostError(RuntimeError):
    """Raised inside a task whose attempt was closed by somebody else: it must not go on beside the next one."""


class _Reporter:
    """The ``progress`` that a task is given: writes twice a second at most, but at once what else is being done."""

    def __init__(self, attempt: JobAttempt) -> None:
        self.attempt = attempt
        self.written_at = -PROGRESS_EVERY_S
        self.doing: list[str] = []

    def __call__(self, done: int, total: int, note: Sentence | Sentences = ()) -> None:
        moment, doing = time.monotonic(), [one.code for one in sentences(note)]
        if done < total and doing == self.doing and moment - self.written_at < PROGRESS_EVERY_S:
            return
        self.written_at, self.doing = moment, doing
        written = Job.objects.filter(
            pk=self.attempt.job_id, attempts__pk=self.attempt.pk, attempts__ended_at=None
        ).update(progress_done=done, progress_total=total, progress_note=note)
        if not written:
            raise ClaimLostError(f"Attempt {self.attempt.pk} was closed while it ran.")


def run_job(job_id: int) -> bool:
    """Do a job now, in this process; False where it is not waiting, or was given up.

    Needs no worker. Must not be called inside a transaction: the attempt is stored before the work begins.
    """
    attempt = _claim(job_id)
    if attempt is None:
        return False
    job = attempt.job
    try:
        result = function_of(job.what)(progress=_Reporter(attempt), **job.arguments)
        # A result that cannot be stored is the task's fault, to be told as any other.
        json.dumps(result)
    except CannotBeDoneError as refusal:
        _end(attempt, Outcome.FAILED, why=refusal.why, is_final=True)
    except UnknownTaskError:
        _end(attempt, Outcome.FAILED, why=Sentence.of("job.unknown_task", task=job.what), is_final=True)
    except TimeoutException:
        _end(
            attempt,
            Outcome.FAILED,
            why=Sentence.of("job.too_long", count=settings.TASK_TIMEOUT_S),
        )
        # The queue replaces a worker whose task ran out of time.
        raise
    except Exception:  # noqa: BLE001  whatever a task raises is its failure, kept with the job
        _end(attempt, Outcome.FAILED, failure=traceback.format_exc(limit=-12))
    else:
        _end(attempt, Outcome.DONE, result=result)
    return True


def _claim(job_id: int) -> JobAttempt | None:
    """Write the attempt; None where the job is not to be started."""
    moment = timezone.now()
    with transaction.atomic(durable=True):
        job = Job.objects.select_for_update().filter(pk=job_id).first()
        if job is None or job.state != Job.State.WAITING:
            return None
        if give_up_if_hopeless(job):
            return None
        job.state = Job.State.UNDER_WAY
        job.started_at = moment
        job.save(update_fields=["state", "started_at"])
        attempt = JobAttempt.objects.create(job=job, started_at=moment, worker=identity())
        heartbeat.hear()
    return attempt


def give_up_if_hopeless(job: Job) -> bool:
    """Mark a locked waiting job as failed where it was tried often enough; say whether."""
    outcomes = list(job.attempts.filter(started_at__gte=job.wanted_at).order_by("id").values_list("outcome", flat=True))
    blamed = [outcome for outcome in outcomes if outcome != Outcome.INTERRUPTED]
    if len(blamed) < MOST_TRIES and len(outcomes) < MOST_STARTS:
        return False
    if not job.failure and not job.failed_why:
        vanished = blamed.count(Outcome.VANISHED)
        job.failed_why = (
            Sentence.of("job.vanished", count=vanished, tries=len(outcomes))
            if vanished
            else Sentence.of("job.stopped_with_server", count=len(outcomes))
        )
    job.state = Job.State.FAILED
    job.finished_at = timezone.now()
    take_off(job.queue_row)
    job.queue_row = None
    job.save(update_fields=["failed_why", "state", "finished_at", "queue_row"])
    return True


def close(attempt: JobAttempt, outcome: str) -> bool:
    """End a live attempt inside a transaction; False where somebody else was quicker."""
    ended_at = max(timezone.now(), attempt.started_at)
    return bool(JobAttempt.objects.live().filter(pk=attempt.pk).update(ended_at=ended_at, outcome=outcome))


def _end(
    attempt: JobAttempt,
    outcome: str,
    *,
    failure: str = "",
    why: Sentence | Sentences = (),
    result: dict[str, Any] | None = None,
    is_final: bool = False,
) -> None:
    """Record how an attempt ended, and what becomes of its job, in one transaction."""
    with transaction.atomic(durable=True):
        job = Job.objects.select_for_update().get(pk=attempt.job_id)
        if not close(attempt, outcome):
            return
        take_off(job.queue_row)
        job.queue_row = None
        job.failure, job.failed_why = failure, why
        if outcome == Outcome.DONE:
            job.state, job.result, job.finished_at = Job.State.FINISHED, result, timezone.now()
            job.progress_done = job.progress_total
        elif is_final:
            job.state, job.finished_at = Job.State.FAILED, timezone.now()
        else:
            job.state = Job.State.WAITING
            tried = job.attempts.filter(started_at__gte=job.wanted_at, outcome=Outcome.FAILED).count()
            job.not_before_at = timezone.now() + PAUSES[min(tried, len(PAUSES)) - 1]
        job.save()
        if job.state == Job.State.WAITING:
            give_up_if_hopeless(job)
        heartbeat.hear()
