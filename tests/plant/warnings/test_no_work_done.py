"""Ten minutes without background work are said on every page: what it shows is as old."""

from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from plant.background.queueing import enqueue
from plant.models import Heartbeat, Job, JobAttempt
from tests.factories import MillFactory
from tests.maintenance.mill import a_user, signed_in
from tests.plant import background_tasks  # noqa: F401  registers the tasks

pytestmark = pytest.mark.django_db
SAID = "No background work since"


def page() -> str:
    MillFactory()
    return signed_in(Client(), a_user("technician")).get("/words/").content.decode()


def ago(minutes: float) -> object:
    return timezone.now() - timedelta(minutes=minutes)


@pytest.mark.parametrize(("minutes", "is_said"), [(0, False), (9.5, False), (10.5, True), (600, True)])
def test_a_worker_that_was_not_heard_for_ten_minutes(minutes: float, is_said: bool) -> None:
    Heartbeat.objects.create(name="worker", at=ago(minutes))
    assert (SAID in page()) is is_said


def test_a_worker_at_one_long_task_is_at_work() -> None:
    Heartbeat.objects.create(name="worker", at=ago(12))
    JobAttempt.objects.create(job=enqueue("test: work", "k", {"name": "n"}), started_at=ago(12), worker="w")
    assert SAID not in page()


def test_a_mill_that_never_had_a_worker_is_told_once_something_waits() -> None:
    assert SAID not in page()
    enqueue("test: work", "k", {"name": "n"})
    Job.objects.update(not_before_at=ago(11))
    assert SAID in page()
