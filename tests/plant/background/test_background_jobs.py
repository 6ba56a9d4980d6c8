"""Jobs without a worker: wanted once, tried three times, never two at a time, never lost."""

from datetime import datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from django.core.exceptions import ImproperlyConfigured, PermissionDenied
from django.db import IntegrityError, transaction
from django.utils import timezone
from django_q.models import OrmQ

from plant.background import heartbeat, keeper, registry, running
from plant.background.daily import want_what_is_due
from plant.background.process import identity, is_alive, is_in_group, pid_of
from plant.background.queueing import enqueue, start_again
from plant.background.registry import UnknownTaskError, register_daily, task
from plant.background.running import MOST_STARTS, ClaimLostError, run_job
from plant.background.sweep import release, sweep
from plant.basics.sentences import Sentence
from plant.models import Change, Heartbeat, Job, JobAttempt
from tests.factories import MillFactory, UserFactory
from tests.plant import background_tasks  # noqa: F401  registers the tasks

pytestmark = pytest.mark.django_db
State, Outcome = Job.State, JobAttempt.Outcome
# A process that never was: this host, a number beyond all, no start.
GONE, GONE_TOO = (identity(2**30 + n).removesuffix("?") + "1" for n in (0, 1))


def want(what: str = "test: work", key: str = "k", **arguments: Any) -> Job:
    if what in {"test: work", "test: fail"}:
        arguments.setdefault("name", "n")
    return enqueue(what, key, arguments)


def start(job: Job, worker: str) -> JobAttempt:
    """Leave a job as a worker does that is in the middle of it."""
    Job.objects.filter(pk=job.pk).update(state=State.UNDER_WAY, started_at=timezone.now())
    return JobAttempt.objects.create(job=job, started_at=timezone.now(), worker=worker)


def test_a_job_runs_and_leaves_its_result_and_its_attempt() -> None:
    job = want(tenths=1)
    assert run_job(job.pk)
    job.refresh_from_db()
    assert (job.state, job.result, job.queue_row) == (State.FINISHED, {"name": "n"}, None)
    assert (job.progress_done, job.progress_total) == (1, 1)
    assert [attempt.outcome for attempt in job.attempts.all()] == [Outcome.DONE]
    assert not OrmQ.objects.exists()


def test_a_key_is_wanted_once_and_a_finished_job_is_not_done_again() -> None:
    first = want()
    assert want().pk == first.pk
    assert OrmQ.objects.count() == 1
    run_job(first.pk)
    assert not run_job(first.pk)
    assert want().state == State.FINISHED
    assert JobAttempt.objects.count() == 1


def test_a_key_cannot_stand_for_two_tasks() -> None:
    want()
    with pytest.raises(ValueError, match="stands for"):
        want("test: fail")


def test_a_task_nobody_registered_is_refused() -> None:
    with pytest.raises(UnknownTaskError):
        enqueue("os.system", "k")
    assert not Job.objects.exists()


def test_arguments_are_plain_values_and_not_objects() -> None:
    with pytest.raises(TypeError, match="hand over its id"):
        enqueue("test: work", "k", {"name": MillFactory()})


def test_a_job_vanishes_with_the_transaction_that_wanted_it() -> None:
    with pytest.raises(RuntimeError), transaction.atomic():
        want()
        raise RuntimeError
    assert not Job.objects.exists()
    assert not OrmQ.objects.exists()


def test_a_failing_task_is_tried_three_times_and_then_given_up() -> None:
    job = want("test: fail")
    for tries in (1, 2, 3):
        assert run_job(job.pk)
        job.refresh_from_db()
        assert job.attempts.count() == tries
        assert "no luck with n" in job.failure
    assert job.state == State.FAILED
    assert not run_job(job.pk)


def test_a_failed_try_waits_before_the_next_one_and_the_sweep_queues_it_then() -> None:
    job = want("test: fail")
    run_job(job.pk)
    sweep()
    assert not OrmQ.objects.exists()
    Job.objects.update(not_before_at=timezone.now())
    sweep()
    assert OrmQ.objects.count() == 1
    sweep()
    assert OrmQ.objects.count() == 1


def test_a_reason_that_will_not_pass_ends_the_job_at_once_with_its_words() -> None:
    job = want("test: refuse")
    run_job(job.pk)
    job.refresh_from_db()
    assert (job.state, job.failure_in_short) == (State.FAILED, "The file has no rows.")


def test_a_result_that_cannot_be_stored_is_a_failure() -> None:
    job = want("test: odd result")
    run_job(job.pk)
    job.refresh_from_db()
    assert job.state == State.WAITING
    assert "not JSON serializable" in job.failure


def test_a_job_of_a_live_worker_is_neither_doubled_nor_released() -> None:
    job = want()
    start(job, identity())
    assert not run_job(job.pk)
    sweep()
    job.refresh_from_db()
    assert job.state == State.UNDER_WAY


def test_two_live_attempts_at_one_job_are_refused_by_the_database() -> None:
    job = want()
    start(job, identity())
    with pytest.raises(IntegrityError), transaction.atomic():
        start(job, identity())


def test_the_job_of_a_vanished_worker_waits_again_and_its_queue_row_is_free_at_once() -> None:
    job = want()
    start(job, GONE)
    OrmQ.objects.update(lock=timezone.now() + timedelta(seconds=300))
    sweep()
    job.refresh_from_db()
    assert job.state == State.WAITING
    assert OrmQ.objects.get(pk=job.queue_row).lock < timezone.now()
    assert run_job(job.pk)


def test_a_job_that_takes_its_worker_with_it_is_given_up_after_three_times() -> None:
    job = want()
    for _ in range(3):
        start(job, GONE)
        sweep()
    job.refresh_from_db()
    assert job.state == State.FAILED
    assert "vanished" in job.failure_in_short
    assert not OrmQ.objects.exists()


def test_a_job_that_was_only_stopped_with_the_server_is_not_blamed_but_not_started_for_ever() -> None:
    job = want()
    for _ in range(MOST_STARTS - 1):
        release([start(job, GONE)], Outcome.INTERRUPTED)
    job.refresh_from_db()
    assert job.state == State.WAITING
    release([start(job, GONE)], Outcome.INTERRUPTED)
    job.refresh_from_db()
    assert job.state == State.FAILED


def test_an_attempt_on_another_host_is_released_only_when_its_time_is_over(settings: Any) -> None:
    attempt = start(want(), "elsewhere:17:4711")
    sweep()
    assert JobAttempt.objects.live().exists()
    long_ago = timezone.now() - timedelta(seconds=settings.Q_CLUSTER["retry"] + 1)
    JobAttempt.objects.filter(pk=attempt.pk).update(started_at=long_ago)
    sweep()
    assert not JobAttempt.objects.live().exists()


def test_a_job_whose_queue_row_vanished_is_queued_anew() -> None:
    job = want()
    OrmQ.objects.all().delete()
    sweep()
    job.refresh_from_db()
    assert OrmQ.objects.filter(pk=job.queue_row).exists()


def test_a_task_whose_attempt_was_closed_meanwhile_stops_at_its_next_word_of_progress() -> None:
    job = want()
    attempt = start(job, identity())
    progress = running._Reporter(attempt)
    progress(1, 2)
    release([attempt], Outcome.VANISHED)
    with pytest.raises(ClaimLostError):
        progress(2, 2)


def test_progress_is_written_at_most_twice_a_second_but_its_end_always(
    monkeypatch: pytest.MonkeyPatch, django_assert_num_queries: Any
) -> None:
    progress = running._Reporter(start(want(), identity()))
    moments = iter([0.0, 0.1, 0.2, 0.3])
    monkeypatch.setattr(running, "time", SimpleNamespace(monotonic=lambda: next(moments)))
    with django_assert_num_queries(2):
        for done in (1, 2, 3, 4):
            progress(done, 4)


def test_progress_is_written_at_once_where_something_else_is_being_done(monkeypatch: pytest.MonkeyPatch) -> None:
    job = want()
    progress = running._Reporter(start(job, identity()))
    monkeypatch.setattr(running, "time", SimpleNamespace(monotonic=lambda: 0.0))
    for note in ("day.parts", "day.places"):
        progress(1, 4, Sentence.of(note))
        job.refresh_from_db()
        assert job.progress_note == (Sentence.of(note),)


def test_a_failed_job_is_started_again_with_all_its_tries_and_that_is_on_record() -> None:
    planner = UserFactory(role="planner")
    job = want("test: fail")
    for _ in range(3):
        run_job(job.pk)
    assert start_again(job.pk, planner)
    assert not start_again(job.pk, planner)
    job.refresh_from_db()
    assert (job.state, job.wanted_by, job.failure) == (State.WAITING, planner, "")
    assert Change.objects.about(job).get().act == "started again"
    for _ in range(3):
        assert run_job(job.pk)


def test_who_may_not_steer_cannot_start_a_job_again() -> None:
    job = want("test: refuse")
    run_job(job.pk)
    with pytest.raises(PermissionDenied):
        start_again(job.pk, UserFactory(role="auditor"))


def test_two_tasks_of_one_name_are_refused() -> None:
    with pytest.raises(ImproperlyConfigured, match="Two tasks"):

        @task("test: work")
        def other(progress: Any) -> None:
            """Stand in the way."""


def test_the_days_work_is_wanted_once_a_local_day_from_its_hour_on(
    monkeypatch: pytest.MonkeyPatch, settings: Any
) -> None:
    monkeypatch.setattr(registry, "_dailies", {})
    monkeypatch.setattr(registry, "_functions", dict(registry._functions))
    task("test: daily")(lambda progress, day: {"day": day})
    register_daily("test: daily", hour=5)
    assert want_what_is_due() == []
    MillFactory(time_zone="Asia/Kolkata")

    def at(text: str) -> list[Job]:
        monkeypatch.setattr("plant.clock.timezone.now", lambda: datetime.fromisoformat(text))
        return want_what_is_due()

    # 05:00 in Kolkata is 23:30 UTC of the day before.
    assert at("2026-03-02T23:29:00+00:00") == []
    (first,) = at("2026-03-02T23:30:00+00:00")
    assert first.arguments == {"day": "2026-03-03"}
    assert [job.pk for job in at("2026-03-03T09:00:00+00:00")] == [first.pk]
    (second,) = at("2026-03-03T23:45:00+00:00")
    assert second.pk != first.pk


def test_an_hour_that_no_day_has_is_refused() -> None:
    with pytest.raises(ImproperlyConfigured):
        register_daily("test: work", hour=24)


def test_the_heartbeat_is_asked_for_once_at_a_time() -> None:
    heartbeat.ask()
    heartbeat.ask()
    assert OrmQ.objects.count() == 1
    heartbeat.answer()
    beat = Heartbeat.objects.get()
    assert beat.worker == identity()
    assert beat.at is not None
    assert not OrmQ.objects.exists()


def test_a_second_server_is_told_of_the_first_unless_that_one_is_gone(monkeypatch: pytest.MonkeyPatch) -> None:
    keeper.take_charge()
    here = identity()
    monkeypatch.setattr("plant.background.keeper.identity", lambda: GONE)
    with pytest.raises(keeper.KeptElsewhereError, match=here):
        keeper.take_charge()
    Heartbeat.objects.update(keeper=GONE_TOO)
    keeper.take_charge()
    keeper.stay_in_charge()
    Heartbeat.objects.update(keeper=here)
    with pytest.raises(keeper.KeptElsewhereError):
        keeper.stay_in_charge()


def test_a_process_is_known_by_more_than_its_number() -> None:
    assert is_alive(identity())
    assert not is_alive(identity() + "0")
    assert not is_alive(GONE)
    assert not is_in_group(GONE, 1)
    assert pid_of("mill.example:17:4711") == 17
