"""What the demo's pages do not wait for: cut off anywhere it ends with the same, and pages say what is to come."""

import re
from collections.abc import Iterator
from datetime import date
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction
from django.db.models import Count, Sum
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from maintenance.demo import readings, rest
from maintenance.demo.filling import FILL_TASK, want_filled
from maintenance.demo.readings import bring_readings
from maintenance.demo.setting_up import set_up
from maintenance.demo.world import World
from maintenance.models import DayRun, Firing, WorkOrder
from maintenance.watches.hearing import LOOK_TASK
from plant import clock
from plant.background.daily import want_what_is_due
from plant.background.running import run_job
from plant.background.sweep import sweep
from plant.basics.sentences import Sentence
from plant.models import Job, JobAttempt, Reading, Unsettled, User
from plant.readings.taking_in import SETTLE_TASK

DAY = date(2026, 11, 25)
State = Job.State


@pytest.fixture
def world(db: None, settings: Any, monkeypatch: pytest.MonkeyPatch) -> World:
    """The demo mill at seven in the morning, with nothing but what its first pages need."""
    settings.KILNWARD_TODAY = DAY.isoformat()
    world = World(DAY, 2)
    monkeypatch.setattr(clock, "now", lambda: world.at(0, 7))
    set_up(DAY, months=2)
    return world


class CutOffError(Exception):
    """Stands for whatever ends a process."""


def brought() -> dict[str, Any]:
    """Return what came of readings, apart from the numbers of rows."""
    told = Reading.objects.values("channel__kiln__tag", "channel__quantity", "channel__place")
    sums = told.annotate(count=Count("pk"), total=Sum("value"), marks=Sum("marks")).order_by(*told[0])
    return {
        # A sum of fractions depends on the order in which the database adds them.
        "readings": [one | {"total": round(one["total"], 3)} for one in sums],
        "firings": list(
            Firing.objects.order_by("watch__kiln__tag", "watch__code", "begin_at").values_list(
                "watch__kiln__tag", "watch__code", "begin_at", "end_at"
            )
        ),
        "work": list(WorkOrder.objects.unfinished().order_by("number").values_list("number", "title", "kiln__tag")),
        "unsettled": Unsettled.objects.count(),
        "jobs": list(Job.objects.filter(what__in=[SETTLE_TASK, LOOK_TASK])),
    }


def test_readings_cut_off_anywhere_end_with_the_same(
    world: World, monkeypatch: pytest.MonkeyPatch, subtests: pytest.Subtests
) -> None:
    kilns, until = ["K1", "K3", "K5"], world.at(0, 7)
    with transaction.atomic():
        bring_readings(days=1, tags=kilns, until=until)
        at_once = brought()
        transaction.set_rollback(True)
    assert at_once["readings"] and at_once["firings"]
    for step in ("_take_in", "settle", "_look_over"):
        with subtests.test(before=step), transaction.atomic():
            original, calls = getattr(readings, step), iter(range(100))

            def cut_off(*args: Any, original: Any = original, calls: Iterator[int] = calls) -> Any:
                if next(calls) == 1:
                    raise CutOffError
                return original(*args)

            with monkeypatch.context() as patch:
                patch.setattr(readings, step, cut_off)
                with pytest.raises(CutOffError):
                    bring_readings(days=1, tags=kilns, until=until)
            # Later: it is the instant that was wanted first which counts.
            told: list[int] = []
            bring_readings(days=1, tags=kilns, until=until, progress=told.append)
            assert told == [1, 2, 3]
            assert brought() == at_once
            transaction.set_rollback(True)


def test_the_day_s_work_of_the_morning_waits_until_the_demo_is_filled(world: World) -> None:
    filling = want_filled(DAY, reading_days=0, plan_seconds=0)
    want_what_is_due()
    of_the_day = Job.objects.get(what=DayRun.TASK)
    sweep()
    of_the_day.refresh_from_db()
    assert of_the_day.queue_row is None and of_the_day.not_before_at > timezone.now()

    assert run_job(filling.pk)
    sweep()
    of_the_day.refresh_from_db()
    assert of_the_day.queue_row is not None
    assert DayRun.objects.filter(day=DAY, finished_at__isnull=False).count() == 1


def test_it_is_wanted_once_and_begun_again_where_it_was_given_up(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(day: date) -> None:
        raise CutOffError("the disk is full")

    filling = want_filled(DAY, reading_days=0, plan_seconds=0)
    with monkeypatch.context() as patch:
        patch.setattr(rest, "run_day", fail)
        while run_job(filling.pk):
            pass
    filling.refresh_from_db()
    assert filling.state == State.FAILED
    assert want_filled(DAY, reading_days=3, plan_seconds=9).pk == filling.pk
    assert run_job(filling.pk)
    assert want_filled(DAY, reading_days=0, plan_seconds=0).state == State.FINISHED


@pytest.mark.django_db(transaction=True)
def test_a_key_that_stops_it_is_nobody_s_fault_and_it_goes_on(monkeypatch: pytest.MonkeyPatch, settings: Any) -> None:
    def stop(day: date) -> None:
        raise KeyboardInterrupt

    def demo() -> str:
        output = StringIO()
        options = ["--months", "2", "--reading-days", "0", "--plan-seconds", "0"]
        call_command("demo", "--no-serve", *options, stdout=output)
        return output.getvalue()

    with monkeypatch.context() as patch:
        patch.setattr(rest, "run_day", stop)
        with pytest.raises(CommandError, match="goes on where it was"):
            demo()
    assert Job.objects.get(what=FILL_TASK).state == State.WAITING
    assert JobAttempt.objects.get().outcome == JobAttempt.Outcome.INTERRUPTED
    assert "Without a place" in demo()
    assert Job.objects.get(what=FILL_TASK).state == State.FINISHED


def test_pages_say_what_is_to_come_what_went_wrong_and_nothing_once_it_is_there(
    world: World, client: Client, settings: Any
) -> None:
    settings.SERVES_DEMO = True
    filling = want_filled(DAY, reading_days=1, plan_seconds=0)
    client.force_login(User.objects.get(username="arne"))

    def on_page() -> str:
        return client.get(reverse("maintenance:kilns")).content.decode()

    def on_climate_page() -> str:
        return client.get(reverse("maintenance:kiln-climate", args=["K1"])).content.decode()

    Job.objects.filter(pk=filling.pk).update(
        state=State.UNDER_WAY,
        progress_done=3,
        progress_total=8,
        progress_note=[Sentence.of("demo.readings", done=3, kilns=6)],
    )
    page = on_page()
    assert "readings of the kilns, 3 of 6" in page
    assert "Readings are still coming in" in on_climate_page()
    seen = re.search(r'hx-get="([^"]+demo/filling[^"]+)"', page)
    assert seen is not None
    assert client.get(seen[1].replace("&amp;", "&")).status_code == 204
    Job.objects.filter(pk=filling.pk).update(progress_done=4)
    assert client.get(seen[1].replace("&amp;", "&")).status_code == 200

    Job.objects.filter(pk=filling.pk).update(
        state=State.FAILED, failure="Traceback\nOSError: the disk is full", finished_at=timezone.now()
    )
    page = on_page()
    assert "OSError: the disk is full" in page and filling.get_absolute_url() in page

    Job.objects.filter(pk=filling.pk).update(state=State.FINISHED)
    assert "demo-filling" not in on_page()
    assert "look whether its source sends" in on_climate_page()
    assert "is filled" in client.get(reverse("maintenance:demo-filling")).content.decode()
