"""Several who decide about places at once: run where rows are locked, on PostgreSQL."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from functools import partial
from threading import Barrier

import pytest
from django.core.exceptions import ValidationError
from django.db import connection

from maintenance.models import KilnStop, Placement, Plan
from maintenance.plans.accepting import accept_plan, want_daily_plan, want_plan
from maintenance.plans.by_hand import place_by_hand
from maintenance.plans.placing_all import place_all
from maintenance.plans.standing import standing_now
from maintenance.plans.working_out import work_out
from tests.factories import MONDAY
from tests.maintenance.placing_mill import OPENING_FROM, job, on_shift, programme

pytestmark = [
    pytest.mark.postgresql,
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite lets one writer in at a time"),
]
NOW = MONDAY + timedelta(hours=1)


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)


def at_once(acts: list[Callable[[], object]]) -> list[object]:
    """Let several begin at the same moment; a refusal is an answer."""
    gate = Barrier(len(acts))

    def run(act: Callable[[], object]) -> object:
        try:
            gate.wait(timeout=30)
            return act()
        except ValidationError as refusal:
            return refusal
        finally:
            connection.close()

    with ThreadPoolExecutor(len(acts)) as people:
        return list(people.map(run, acts))


def worked_out() -> Plan:
    programme()
    on_shift()
    job()
    plan = want_plan(seconds=2, by=None)
    work_out(plan.pk, lambda *_told: None)
    plan.refresh_from_db()
    assert plan.state == Plan.State.WORKED_OUT
    return plan


def test_of_four_who_accept_a_plan_at_once_one_does() -> None:
    plan = worked_out()

    answers = at_once([lambda: accept_plan(plan, by=None)] * 4)

    assert sum(not isinstance(answer, ValidationError) for answer in answers) == 1
    assert (Placement.objects.count(), KilnStop.objects.count()) == (1, 1)


def test_a_plan_accepted_while_a_job_is_put_on_the_board_and_the_day_runs_leaves_places_that_hold() -> None:
    plan = worked_out()
    other = job()
    at = OPENING_FROM + timedelta(hours=5)

    at_once(
        [
            lambda: accept_plan(plan, by=None),
            lambda: place_by_hand(other, at, None, by=None),
            lambda: place_all(NOW),
        ]
    )

    standing = standing_now(NOW)
    assert (standing.loose, Placement.objects.count()) == ({}, 2)
    assert standing.broken == ()


def test_two_people_who_want_one_opening_hour_with_one_person_cannot_both_have_it() -> None:
    programme()
    on_shift()
    first, second = job(), job()
    at = OPENING_FROM + timedelta(hours=3)

    answers = at_once([partial(place_by_hand, one, at, None, by=None) for one in (first, second)])

    assert sum(isinstance(answer, ValidationError) for answer in answers) == 1
    assert Placement.objects.count() == 1


def test_a_day_that_is_worked_out_twice_at_once_wants_one_plan() -> None:
    programme()
    on_shift()
    job()

    at_once([lambda: want_daily_plan(NOW.date())] * 4)

    assert Plan.objects.count() == 1
