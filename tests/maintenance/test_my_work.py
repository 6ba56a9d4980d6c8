"""The technician's landing: what is under way, today's jobs, the week's."""

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from maintenance.models import Placement, WorkOrder
from plant import clock
from tests.factories import MillFactory, UserFactory, WorkOrderFactory
from tests.maintenance.mill import a_person, a_user, signed_in

pytestmark = pytest.mark.django_db


def a_job(title: str, person: Any, days: int | None = None, state: str = "placed") -> WorkOrder:
    """A job given to somebody, so many days ahead."""
    order: WorkOrder = WorkOrderFactory(title=title, state=state)
    order.assignments.create(person=person)
    if days is not None:
        at = clock.now() + timedelta(days=days)
        Placement.objects.create(work_order=order, start_at=at, end_at=at + timedelta(hours=1))
    return order


def test_one_sees_ones_own_jobs_in_their_order(client: Client) -> None:
    MillFactory()
    user = a_user("technician")
    a_job("job-of-week", user.person, days=3)
    a_job("job-of-today", user.person, days=0)
    a_job("job-under-way", user.person, days=0, state="under_way")
    a_job("job-far-off", user.person, days=30)
    a_job("job-of-another", a_person("per"), days=0)
    shown = signed_in(client, user).get("/my-work/").content.decode()
    places = [shown.index(title) for title in ("job-under-way", "job-of-today", "job-of-week")]
    assert places == sorted(places)
    assert "job-far-off" not in shown and "job-of-another" not in shown


def test_somebody_without_jobs_is_told_where_they_come_from(client: Client) -> None:
    MillFactory()
    assert (
        "Nothing is placed for you today" in signed_in(client, a_user("technician")).get("/my-work/").content.decode()
    )


def test_a_sign_in_that_belongs_to_nobody_says_so(client: Client) -> None:
    MillFactory()
    user = UserFactory(username="screen", role="planner")
    assert "belongs to nobody" in signed_in(client, user).get("/my-work/").content.decode()


@pytest.mark.parametrize(("role", "is_shown"), [("technician", True), ("kiln_master", True), ("manager", False)])
def test_only_who_does_work_is_led_to_my_work(client: Client, role: str, is_shown: bool) -> None:
    signed_in(client, a_user(role))
    shown = client.get("/work-orders/").content.decode()
    assert shown.count('href="/my-work/"') == (2 if is_shown else 0)
