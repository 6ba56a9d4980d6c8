"""Every place that is offered for a job is accepted when it is taken: on the demo mill and on mills drawn at random."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from io import StringIO
from typing import Any

import pytest
from django.core.management import call_command
from django.db import transaction
from django.test import Client

from maintenance.day.run import run_day
from maintenance.models import WorkOrder
from maintenance.plans import drawing
from maintenance.plans.by_hand import place_by_hand
from maintenance.plans.offers import Offer, offer, offers_for, times_of_kiln
from maintenance.plans.places import RulesBrokenError
from maintenance.plans.standing import forget, standing_for, standing_now
from plant import clock
from plant.models import Kiln, Person, User
from tests.factories import UserFactory
from tests.maintenance.plans.mills_drawn import NOW, draw_mill

pytestmark = pytest.mark.django_db
MILLS, TOGETHER = 200, 20


class _UndoneError(Exception):
    """Takes back what was tried."""


@contextmanager
def undone() -> Iterator[None]:
    try:
        with transaction.atomic():
            yield
            raise _UndoneError
    except _UndoneError:
        pass
    forget()


def jobs_to_place() -> list[WorkOrder]:
    return list(WorkOrder.objects.filter(state__in=WorkOrder.BEFORE_START).with_crew().select_related("kiln__mill"))


def all_offers() -> Iterator[Offer]:
    """Give what the pages of all openings and of all jobs offer."""
    now_at = clock.now()
    for order in jobs_to_place():
        standing = standing_for(order, now_at)
        yield from offers_for(standing, order, now_at, 20)
        for time in times_of_kiln(standing, order.kiln.tag, now_at):
            if time.serves(order):
                yield offer(standing, order, time, now_at)


def starts_named_on_the_board() -> Iterator[tuple[str, datetime]]:
    """Give the starts nearby that the board names where a place that was tried does not hold."""
    standing = standing_now(clock.now())
    for job in standing.frame.jobs:
        for share in (0.01, 0.3, 0.7):
            at = standing.drawn.at(round(share * standing.frame.problem.horizon_min))
            for near_at, _cents in standing.try_place(job.ref, at).near:
                yield job.ref, near_at


def refused(user: User) -> tuple[list[str], int]:
    """Return the places that are refused when they are taken, with the reason, and how many there are in all."""
    wanted: set[tuple[str, datetime, tuple[int, ...] | None]] = {
        (one.order.number, one.start_at, tuple(int(pk) for pk, _name in one.people))
        for one in all_offers()
        if one.start_at is not None
    }
    wanted |= {(ref, at, None) for ref, at in starts_named_on_the_board()}
    found = []
    for number, start_at, people in sorted(wanted, key=str):
        crew = None if people is None else list(Person.objects.filter(pk__in=people))
        with undone():
            try:
                place_by_hand(WorkOrder.objects.get(number=number), start_at, crew, by=user)
            except RulesBrokenError as refusal:
                found.append(f"{number} {start_at} {people}: {' '.join(refusal.messages)}")
    return found, len(wanted)


def test_every_place_that_is_offered_on_the_demo_mill_is_accepted(
    settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.KILNWARD_TODAY = ""
    ways = ("--no-serve", "--today", "2026-11-25", "--months", "3", "--reading-days", "0", "--plan-seconds", "0")
    try:
        call_command("demo", *ways, stdout=StringIO())
        # The pages are looked at and the places taken within a minute, however slow the machine is.
        now_at = clock.now()
        monkeypatch.setattr("plant.clock.now", lambda: now_at)
        # What the kilns' past says of their drying is the same for each of the places.
        rates = drawing.usual_rates(list(Kiln.objects.all()), now_at)
        monkeypatch.setattr(drawing, "usual_rates", lambda _kilns, _now_at: rates)
        found, tried = refused(User.objects.get(username="oda"))
    finally:
        os.environ.pop("KILNWARD_TODAY", None)
    assert not found and tried > 200, f"{len(found)} of {tried}:\n" + "\n".join(found)


@pytest.mark.parametrize("first", range(0, MILLS, TOGETHER))
def test_every_place_that_is_offered_on_a_drawn_mill_is_accepted(first: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)
    user = UserFactory(role="planner")
    found: list[str] = []
    tried = 0
    for seed in range(first, first + TOGETHER):
        with undone():
            draw_mill(seed)
            run_day()
            here, count = refused(user)
            found += [f"mill {seed}: {one}" for one in here]
            tried += count
    assert not found and tried > TOGETHER, f"{len(found)} of {tried}:\n" + "\n".join(found)


def test_the_page_of_an_opening_shows_what_is_offered(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)
    client.force_login(UserFactory(role="planner"))
    draw_mill(3)
    for kiln in Kiln.objects.all():
        for time in times_of_kiln(standing_now(NOW), kiln.tag, NOW):
            shown = client.get(f"/openings/{kiln.tag}/{time.key}/")
            assert shown.status_code == 200
            for one in shown.context["offers"]:
                standing = standing_for(one.order, NOW)
                assert (one.start_at, one.people) == (
                    (again := offer(standing, one.order, time, NOW)).start_at,
                    again.people,
                )
