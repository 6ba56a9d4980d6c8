"""The page of background work."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from plant.background import heartbeat, keeper
from plant.background.queueing import enqueue
from plant.background.running import run_job
from plant.background.seen import Life, worker_seen
from plant.basics.sentences import typed
from plant.models import Heartbeat, Job, JobAttempt
from tests.factories import MillFactory, UserFactory
from tests.plant import background_tasks  # noqa: F401  registers the tasks

pytestmark = pytest.mark.django_db


@pytest.fixture
def planner(client: Client) -> Client:
    MillFactory()
    client.force_login(UserFactory(role="planner"), backend="django.contrib.auth.backends.ModelBackend")
    return client


def fill(count: int, start: int = 0) -> None:
    """Make ``count`` jobs of each state."""
    for n in range(start, start + count):
        enqueue("test: work", f"waiting {n}", {"name": "n"})
        run_job(enqueue("test: work", f"finished {n}", {"name": "n", "tenths": 0}).pk)
        run_job(enqueue("test: refuse", f"failed {n}").pk)
        running = enqueue("test: work", f"running {n}", {"name": "n"})
        Job.objects.filter(pk=running.pk).update(
            state=Job.State.UNDER_WAY,
            started_at=timezone.now(),
            progress_done=3,
            progress_total=8,
            progress_note=typed("K1"),
        )
        JobAttempt.objects.create(job=running, started_at=timezone.now(), worker="mill:17:4711")


def test_the_page_shows_what_runs_waits_failed_and_was_done(planner: Client) -> None:
    fill(1)
    page = planner.get("/background/").content.decode()
    for name in ("waiting 0", "finished 0", "failed 0", "running 0", "The file has no rows.", "3 of 8"):
        assert name in page
    assert '<progress value="3" max="8"' in page


def test_a_page_without_any_work_says_so(planner: Client) -> None:
    page = planner.get("/background/").content.decode()
    for sentence in ("Nothing is under way.", "Nothing failed.", "Nothing waits.", "It was never heard."):
        assert sentence in page


def test_the_number_of_queries_does_not_grow_with_the_jobs(planner: Client) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as counted:
            assert planner.get("/background/").status_code == 200
        return len(counted)

    fill(1)
    few = queries()
    fill(12, start=1)
    assert queries() == few


def test_every_few_seconds_only_the_lists_are_sent_again(planner: Client) -> None:
    whole = planner.get("/background/").content.decode()
    assert 'hx-trigger="every 5s"' in whole
    part = planner.get("/background/", headers={"HX-Request": "true", "HX-Target": "background-now"}).content.decode()
    assert "<html" not in part
    assert 'id="background-now"' in part


def test_a_failed_job_is_started_again_by_a_button(planner: Client) -> None:
    fill(1)
    job = Job.objects.get(key="failed 0")
    answer = planner.post(f"/background/{job.pk}/again/", follow=True)
    assert "waits for a worker again" in answer.content.decode()
    job.refresh_from_db()
    assert job.state == Job.State.WAITING
    assert "was started again already" in planner.post(f"/background/{job.pk}/again/", follow=True).content.decode()


def test_an_auditor_reads_but_is_shown_no_button_and_may_not_press_it(client: Client) -> None:
    MillFactory()
    client.force_login(UserFactory(role="auditor"), backend="django.contrib.auth.backends.ModelBackend")
    fill(1)
    job = Job.objects.get(key="failed 0")
    assert "Start again" not in client.get("/background/").content.decode()
    assert "Start again" not in client.get(f"/background/{job.pk}/").content.decode()
    assert client.post(f"/background/{job.pk}/again/").status_code == 403


def test_a_technician_has_no_business_there(client: Client) -> None:
    client.force_login(UserFactory(role="technician"), backend="django.contrib.auth.backends.ModelBackend")
    assert client.get("/background/").status_code == 403


def test_a_jobs_page_shows_its_starts_and_the_whole_reason(planner: Client) -> None:
    job = enqueue("test: fail", "odd", {"name": "n"})
    run_job(job.pk)
    page = planner.get(f"/background/{job.pk}/").content.decode()
    assert "Traceback" in page
    assert "RuntimeError: no luck with n" in page
    assert planner.get("/background/999/").status_code == 404


def test_the_worker_is_judged_by_its_heartbeat_and_its_server() -> None:
    now = timezone.now()
    assert worker_seen(now, 0).life == Life.NOT_SERVED
    keeper.take_charge()
    assert worker_seen(now, 0).life == Life.SILENT
    heartbeat.hear()
    now = timezone.now()
    assert worker_seen(now, 0).life == Life.LIVES
    Heartbeat.objects.update(at=now - timedelta(seconds=40))
    assert worker_seen(now, 1).life == Life.SILENT
    assert worker_seen(now, 2).life == Life.ALL_BUSY
    assert worker_seen(now, 0).heard_before == timedelta(seconds=40)
    Heartbeat.objects.update(kept_at=now - timedelta(minutes=5))
    assert worker_seen(now, 2).life == Life.NOT_SERVED
