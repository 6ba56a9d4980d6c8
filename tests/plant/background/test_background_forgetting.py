"""The record of background work does not grow for ever, and nothing that waits or may be looked at is lost."""

from datetime import datetime, timedelta

import pytest
from django.utils import timezone
from django_q.models import Task as QueueResult

from plant.background import forgetting
from plant.background.daily import want_what_is_due
from plant.background.forgetting import forget_old_work
from plant.background.running import run_job
from plant.models import Job, JobAttempt
from tests.factories import MillFactory

pytestmark = pytest.mark.django_db
NOW = timezone.now()


def ended(key: str, state: str, days_ago: int) -> Job:
    at = NOW - timedelta(days=days_ago)
    job = Job.objects.create(
        key=key, what="test", state=state, wanted_at=at, not_before_at=at, started_at=at, finished_at=at
    )
    JobAttempt.objects.create(
        job=job, started_at=at, ended_at=at, outcome="done" if state == "finished" else "failed", worker="mill:1:1"
    )
    return job


def keys() -> set[str]:
    return set(Job.objects.values_list("key", flat=True))


def test_what_went_well_is_kept_for_ninety_days_and_what_failed_for_a_year() -> None:
    for state in ("finished", "failed"):
        for days in (89, 91, 364, 366):
            ended(f"{state} {days}", state, days)
    forget_old_work(NOW)
    assert keys() == {"finished 89", "failed 89", "failed 91", "failed 364"}
    assert set(JobAttempt.objects.values_list("job__key", flat=True)) == keys()


def test_what_is_done_every_few_minutes_is_forgotten_after_two_days_unless_it_failed() -> None:
    for state in ("finished", "failed"):
        for days in (1, 3):
            job = ended(f"{state} {days}", state, days)
            Job.objects.filter(pk=job.pk).update(what="settle readings")
    assert forget_old_work(NOW)["finished and frequent"] == 1
    assert keys() == {"finished 1", "failed 1", "failed 3"}


@pytest.mark.parametrize("state", ["waiting", "under_way"])
def test_what_has_not_ended_is_kept_however_old(state: str) -> None:
    at = NOW - timedelta(days=4000)
    Job.objects.create(key="old", what="test", state=state, wanted_at=at, not_before_at=at)
    forget_old_work(NOW)
    assert keys() == {"old"}


def test_it_says_how_much_it_forgot_and_the_queues_own_records_go_too() -> None:
    ended("old", "finished", 100)
    for number, days in enumerate((10, 400)):
        at = NOW - timedelta(days=days)
        QueueResult.objects.create(id=str(number), name=str(number), func="f", started=at, stopped=at, success=False)
    assert forget_old_work(NOW) == {
        "finished": 1,
        "finished and frequent": 0,
        "failed": 0,
        "kept by the queue": 1,
    }
    assert QueueResult.objects.count() == 1


def test_a_day_takes_off_a_bounded_number_and_the_oldest_first(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(forgetting, "PORTION", 2)
    monkeypatch.setattr(forgetting, "MOST_A_DAY", 4)
    for number in range(7):
        ended(str(number), "finished", 200 - number)
    assert forget_old_work(NOW)["finished"] == 4
    assert keys() == {"4", "5", "6"}
    assert forget_old_work(NOW)["finished"] == 3


def test_it_is_wanted_and_done_each_day(monkeypatch: pytest.MonkeyPatch) -> None:
    MillFactory()
    old = ended("old", "finished", 5000)
    monkeypatch.setattr("plant.clock.timezone.now", lambda: datetime.fromisoformat("2026-03-02T02:30:00+00:00"))
    (job,) = [job for job in want_what_is_due() if job.what == "forget old background work"]
    assert run_job(job.pk)
    job.refresh_from_db()
    assert (job.state, job.result["finished"]) == ("finished", 1)
    assert not Job.objects.filter(pk=old.pk).exists()
