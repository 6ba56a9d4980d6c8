"""The watchdog's judgement, without processes."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import OperationalError
from django.utils import timezone
from django_q.models import OrmQ, Schedule
from django_q.scheduler import scheduler
from django_q.signing import SignedPackage

from plant.background import clock_jumps, heartbeat, sweep
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
    monkeypatch.setattr("plant.background.patience.load_per_core", lambda: 1.0)
    found = Supervisor(None, FakeChild("worker"), lambda: True, lambda: True)
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
    at(monkeypatch, 1004)
    heartbeat.answer()
    assert starts(supervisor) == 1
    at(monkeypatch, 1018)
    assert starts(supervisor) == 1
    at(monkeypatch, 1020)
    assert starts(supervisor) == 2
    assert Heartbeat.objects.get().restarts == 1
    assert OrmQ.objects.get(pk=job.queue_row).lock < timezone.now()


def test_a_worker_that_answers_is_left_alone(supervisor: Supervisor, monkeypatch: pytest.MonkeyPatch) -> None:
    for second in range(1001, 1061, 5):
        at(monkeypatch, second)
        assert starts(supervisor) == 1
        heartbeat.answer()


def test_a_fresh_worker_gets_minutes_for_its_first_sign_and_twice_as_many_after_each_vain_start(
    supervisor: Supervisor, monkeypatch: pytest.MonkeyPatch
) -> None:
    for second, expected in ((1179, 1), (1181, 2), (1181 + 359, 2), (1181 + 361, 3), (1542 + 719, 3), (1542 + 721, 4)):
        at(monkeypatch, second)
        assert starts(supervisor) == expected
    # A sign of life is what it waited for: the next start is not in vain.
    heartbeat.answer()
    assert starts(supervisor) == 4
    at(monkeypatch, 2263 + 16)
    assert starts(supervisor) == 5
    at(monkeypatch, 2263 + 16 + 181)
    assert starts(supervisor) == 6


def test_the_more_processes_share_the_machine_the_longer_a_worker_is_waited_for(
    supervisor: Supervisor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("plant.background.patience.load_per_core", lambda: 20.0)
    heartbeat.answer()
    assert starts(supervisor) == 1
    at(monkeypatch, 1299)
    assert starts(supervisor) == 1
    at(monkeypatch, 1301)
    assert starts(supervisor) == 2


def test_a_silent_web_server_is_started_anew_and_a_slow_one_is_not(
    supervisor: Supervisor, monkeypatch: pytest.MonkeyPatch
) -> None:
    web = supervisor.web = FakeChild("web")
    web.started = 990
    web.ended = True
    supervisor._look_at_web()
    web.ended = False
    assert web.starts == 1
    for second in range(1050, 1350, 50):
        at(monkeypatch, second)
        supervisor.knocking.answers += 1
        supervisor._look_at_web()
        assert web.starts == 1
    at(monkeypatch, 1311 + 50)
    supervisor._look_at_web()
    assert web.starts == 2


@pytest.mark.parametrize("hours", [-1, 1])
def test_a_clock_that_was_set_leaves_nothing_waiting_for_the_hour_to_come_again(
    supervisor: Supervisor, hours: int
) -> None:
    old = timezone.now() - timedelta(hours=hours)
    job = enqueue("test: work", "k", {"name": "n"})
    taken = enqueue("test: work", "taken", {"name": "n"})
    Job.objects.filter(pk=taken.pk).update(state=Job.State.UNDER_WAY)
    Job.objects.filter(pk=job.pk).update(wanted_at=old, not_before_at=old)
    OrmQ.objects.update(lock=old + timedelta(seconds=900))
    Schedule.objects.update(next_run=old + timedelta(minutes=15))
    later = enqueue("test: work", "later", {"name": "n"}, not_before_at=timezone.now() + timedelta(days=2))
    clock_jumps.follow(hours * 3600.0)
    now = timezone.now()
    assert not Schedule.objects.filter(next_run__gt=now).exists()
    job.refresh_from_db()
    assert max(job.not_before_at, job.wanted_at, OrmQ.objects.get(pk=job.queue_row).lock) <= now
    assert Job.objects.get(pk=later.pk).not_before_at == later.not_before_at
    # What a worker has in hand is offered to no other.
    assert OrmQ.objects.get(pk=taken.queue_row).lock == old + timedelta(seconds=900)


def test_workers_that_are_all_busy_need_not_answer_but_an_idle_one_must(
    supervisor: Supervisor, monkeypatch: pytest.MonkeyPatch
) -> None:
    heartbeat.answer()
    busy(monkeypatch, "a", "b")
    assert starts(supervisor) == 1
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
