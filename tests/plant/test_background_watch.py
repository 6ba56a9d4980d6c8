"""The watchdog's judgement, without processes."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import OperationalError
from django.utils import timezone
from django_q.models import OrmQ, Schedule
from django_q.scheduler import scheduler
from django_q.signing import SignedPackage

from plant.background import heartbeat, sweep
from plant.background.process import identity
from plant.background.queueing import enqueue
from plant.background.supervise import Child, Supervisor
from plant.models import Heartbeat, Job, JobAttempt
from tests.plant import background_tasks  # noqa: F401  registers the tasks

pytestmark = pytest.mark.django_db


class FakeChild(Child):
    """A worker that is only counted."""

    group = 0
    ended = False

    def start(self) -> None:
        """Count."""
        self.starts += 1

    def has_ended(self) -> bool:
        """Say what the test wants."""
        return self.ended

    def end(self) -> None:
        """Do nothing."""


@pytest.fixture
def supervisor(monkeypatch: pytest.MonkeyPatch) -> Supervisor:
    """Give a supervisor that took charge and whose worker was just started, at second 1000."""
    found = Supervisor(None, FakeChild("worker"), lambda: True)
    found._prepare_work()
    at(monkeypatch, 1000)
    found._start_worker("")
    return found


def at(monkeypatch: pytest.MonkeyPatch, seconds: float) -> None:
    """Set the supervisor's clock."""
    monkeypatch.setattr("plant.background.supervise.time.monotonic", lambda: seconds)


def starts(supervisor: Supervisor) -> int:
    supervisor._look_at_worker()
    assert supervisor.worker is not None
    return supervisor.worker.starts


def busy(monkeypatch: pytest.MonkeyPatch, *keys: str, since: timedelta = timedelta()) -> None:
    """Let this process be the worker that does some jobs."""
    for key in keys:
        job = enqueue("test: work", key, {"name": key})
        Job.objects.filter(pk=job.pk).update(state=Job.State.UNDER_WAY)
        JobAttempt.objects.create(job=job, started_at=timezone.now() - since, worker=identity())
    monkeypatch.setattr(sweep, "is_in_group", lambda worker, group: True)


def test_a_silent_worker_is_started_anew_and_the_locks_of_its_forerunner_are_void(
    supervisor: Supervisor, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = enqueue("test: work", "k", {"name": "n"})
    OrmQ.objects.update(lock=timezone.now() + timedelta(seconds=300))
    at(monkeypatch, 1014)
    assert starts(supervisor) == 1
    at(monkeypatch, 1016)
    assert starts(supervisor) == 2
    assert Heartbeat.objects.get().restarts == 1
    assert OrmQ.objects.get(pk=job.queue_row).lock < timezone.now()


def test_a_worker_that_answers_is_left_alone(supervisor: Supervisor, monkeypatch: pytest.MonkeyPatch) -> None:
    for second in range(1001, 1061, 5):
        at(monkeypatch, second)
        assert starts(supervisor) == 1
        heartbeat.answer()


def test_workers_that_are_all_busy_need_not_answer_but_an_idle_one_must(
    supervisor: Supervisor, monkeypatch: pytest.MonkeyPatch
) -> None:
    busy(monkeypatch, "a", "b")
    at(monkeypatch, 1100)
    assert starts(supervisor) == 1
    JobAttempt.objects.filter(job__key="b").update(ended_at=timezone.now(), outcome="done")
    assert starts(supervisor) == 2
    # The one that was at work is not to blame.
    assert JobAttempt.objects.get(job__key="a").outcome in {"interrupted", "running"}


def test_a_task_that_overran_its_time_and_lives_on_is_ended(
    supervisor: Supervisor, monkeypatch: pytest.MonkeyPatch, settings: Any
) -> None:
    busy(monkeypatch, "a", "b", since=timedelta(seconds=settings.TASK_TIMEOUT_S + sweep.OVERRUN_S + 1))
    at(monkeypatch, 1001)
    assert starts(supervisor) == 2


def test_a_worker_that_ended_is_started_anew_but_not_in_a_rush(
    supervisor: Supervisor, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert isinstance(supervisor.worker, FakeChild)
    supervisor.worker.started = 1000
    supervisor.worker.ended = True
    at(monkeypatch, 1001)
    assert starts(supervisor) == 1
    at(monkeypatch, 1004)
    assert starts(supervisor) == 2


def test_without_the_database_nothing_is_judged(supervisor: Supervisor, monkeypatch: pytest.MonkeyPatch) -> None:
    def away() -> None:
        raise OperationalError("server closed the connection")

    with monkeypatch.context() as patch:
        patch.setattr(sweep, "sweep", away)
        patch.setattr("plant.background.supervise.connection.close", lambda: None)
        at(monkeypatch, 1100)
        assert starts(supervisor) == 1
    at(monkeypatch, 1101)
    assert starts(supervisor) == 1


def test_a_server_whose_charge_was_taken_over_ends(supervisor: Supervisor, monkeypatch: pytest.MonkeyPatch) -> None:
    Heartbeat.objects.update(keeper="elsewhere:17:4711", kept_at=timezone.now())
    at(monkeypatch, 1010)
    supervisor._look_at_worker()
    assert supervisor.exit_code == 1


def call_in(row: OrmQ) -> str:
    """Return what a row of the queue calls; its success is not to be kept."""
    call = SignedPackage.loads(row.payload)
    assert (call["args"], call["save"], call["ack_failure"]) == ((), False, True)
    return str(call["func"])


def test_a_start_asks_at_once_what_is_due(supervisor: Supervisor) -> None:
    assert [call_in(row) for row in OrmQ.objects.all()] == ["plant.tasks.tick"]


def test_the_schedule_asks_what_is_due_and_leaves_no_heap_of_results(
    supervisor: Supervisor, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The scheduler closes connections that hold a transaction open, as a test's does.
    monkeypatch.setattr("django_q.scheduler.close_old_django_connections", lambda: None)
    supervisor._prepare_work()
    OrmQ.objects.all().delete()
    schedule = Schedule.objects.get(name="what is due today")
    Schedule.objects.update(next_run=timezone.now() - timedelta(hours=3))
    scheduler()
    assert sorted(call_in(row) for row in OrmQ.objects.all()) == ["plant.tasks.look", "plant.tasks.tick"]
    schedule.refresh_from_db()
    assert schedule.next_run > timezone.now()
    assert schedule.next_run - timezone.now() <= timedelta(minutes=15)
    look = Schedule.objects.get(name="look into watched folders")
    assert timedelta() < look.next_run - timezone.now() <= timedelta(minutes=1)
