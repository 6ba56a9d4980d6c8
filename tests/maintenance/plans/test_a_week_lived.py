"""A week of twelve kilns, hour by hour: what happens is told, and every page's answer is held against a plain list.

The test keeps a list of its own of what is in which kiln, by the plainest rules, and holds against it how the kilns
stand, the programme that openings and plans go by, the board, and the places of jobs.
"""

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from random import Random
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError

from maintenance.board.record import build_board
from maintenance.day.run import run_day
from maintenance.models import Placement, WorkOrder
from maintenance.plans.places_now import failing_places
from maintenance.plans.programme import KilnProgramme, load_programme
from plant.availability.report import draw_report
from plant.availability.report_period import ReportPeriod
from plant.charges import planning, telling
from plant.charges.heard import HeardCharge, NotHeardError, ToldThere, hear
from plant.charges.programme import stand_of
from plant.downtime.keeping import DowntimeFacts, end_downtime
from plant.kilns.calculations.kiln_state import KilnState
from plant.kilns.kilns_now import kilns_now
from plant.kilns.stopping import report_stop
from plant.models import Absence, Charge, ChargeWord, Downtime, Kiln, Person
from tests.factories import MONDAY, ChargeFactory, KilnFactory
from tests.maintenance.placing_mill import job, on_shift

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
DAY = 24 * HOUR
KILNS, HOURS, LOOKS_EVERY_H = 12, 168, 6
SHUT = {KilnState.HEATING_UP, KilnState.DRYING, KilnState.CONDITIONING, KilnState.COOLING}
STANDS = {KilnState.STOPPED, KilnState.PLANNED_DOWN}
What = ChargeWord.What


@dataclass
class Chamber:
    """What the list knows of a kiln: the charge shut in it, the charge that is open in it, and its stop."""

    kiln: Kiln
    shut_in: Charge | None = None
    unloading: Charge | None = None
    stop: Downtime | None = None


class Week:
    """The mill, what happens in it, and the list."""

    def __init__(self, seed: int, set_clock: Callable[[datetime], None]) -> None:
        self.chance = Random(seed)
        self.set_clock = set_clock
        self.now = MONDAY
        self.chambers: list[Chamber] = []
        self.acts: dict[str, int] = {}
        self.stops: dict[str, list[Downtime]] = defaultdict(list)
        for number in range(KILNS):
            self.chambers.append(self._chamber(number))
        for code in ("oda", "per", "una", "jon"):
            on_shift(code)
        for number in range(2 * KILNS):
            chamber = self.chambers[number % KILNS]
            job(kiln=chamber.kiln, needs_state="running" if number % 5 == 0 else "empty")

    def _chamber(self, number: int) -> Chamber:
        kiln = KilnFactory(tag=f"K{number + 1}")
        begin_at = MONDAY - self.chance.randrange(10, 70) * HOUR
        inside = ChargeFactory(kiln=kiln, basis="running", begin_at=begin_at, days=4)
        for _next in range(2):
            begin_at += 4 * DAY + self.chance.randrange(8, 40) * HOUR
            ChargeFactory(kiln=kiln, basis="planned", begin_at=begin_at, days=4)
        return Chamber(kiln, shut_in=inside)

    def live(self, look: Callable[["Week"], None]) -> None:
        """Let the hours go by."""
        for hour in range(HOURS):
            self.now = MONDAY + hour * HOUR
            self.set_clock(self.now)
            if self.now.hour == 4 or hour == 0:
                run_day()
            for chamber in self.chambers:
                self._happens(chamber)
            if self.chance.random() < 0.05:
                self._absent()
            if hour % LOOKS_EVERY_H == 0:
                look(self)

    def tried(self, act: str, change: Callable[[], Any]) -> Any:
        """Do something as a person or a program would; what is refused has changed nothing."""
        try:
            done = change()
        except (ValidationError, NotHeardError):
            return None
        self.acts[act] = self.acts.get(act, 0) + 1
        return done

    def _tell(self, charge: Charge, what: str, at: datetime) -> Any:
        if self.chance.random() < 0.25:
            # What another program says is on record as what a person says.
            said = HeardCharge(charge.kiln.tag, charge.number, {}, told=(ToldThere(what, at),))
            heard = self.tried(f"{what}, sent", lambda: hear([said], "yard book"))
            return heard if heard and heard.told else None
        return self.tried(what, lambda: telling.tell(charge, what, at, key=uuid4(), by=None))

    def _happens(self, one: Chamber) -> None:
        draw = self.chance.random()
        if one.stop is not None:
            if draw < 0.2 and self.tried("stop ended", lambda: end_downtime(one.stop, self.now, by=None)):
                one.stop.refresh_from_db()
                one.stop = None
            return
        if draw < 0.01:
            facts = DowntimeFacts(
                "unplanned", self.now, cause="fan 3", expected_end_at=self.chance.choice((None, self.now + 6 * HOUR))
            )
            found = self.tried(
                "stopped", lambda: report_stop(one.kiln, facts, charge_end_at=None, key=uuid4(), by=None)
            )
            if found:
                one.stop = found
                self.stops[one.kiln.tag].append(found)
        elif draw < 0.03 and one.shut_in:
            end_at = self.now + self.chance.randrange(6, 60) * HOUR
            self._tell(one.shut_in, What.EXPECTED, end_at)
        elif draw < 0.05:
            self._moves(one)
        elif one.shut_in:
            fresh = Charge.objects.get(pk=one.shut_in.pk)
            # Opened sooner, in time or later, and now and then forgotten for hours.
            if fresh.end_at < self.now + 3 * HOUR and draw < 0.4 and self._tell(fresh, What.OPENED, self.now):
                one.unloading, one.shut_in = fresh, None
        elif one.unloading:
            if draw < 0.5 and self._tell(one.unloading, What.UNLOADED, self.now):
                one.unloading = None
        else:
            ahead = Charge.objects.filter(kiln=one.kiln, basis="planned").order_by("begin_at").first()
            if (
                ahead
                and ahead.begin_at < self.now + 4 * HOUR
                and draw < 0.4
                and self._tell(ahead, What.STARTED, self.now)
            ):
                one.shut_in = Charge.objects.get(pk=ahead.pk)

    def _moves(self, one: Chamber) -> None:
        """Somebody moves the next charge."""
        ahead = Charge.objects.filter(kiln=one.kiln, basis="planned").order_by("begin_at").first()
        if ahead is None:
            return
        at = stand_of(ahead).times.later(self.chance.randrange(-6, 30) * HOUR)

        def move() -> Charge:
            return planning.keep(ahead, at, seen=planning.look(ahead, at).mark, key=uuid4(), by=None)

        self.tried("moved", move)

    def _absent(self) -> None:
        person = self.chance.choice(list(Person.objects.filter(code__in=("per", "una", "jon"))))
        from_at = self.now + self.chance.randrange(0, 40) * HOUR
        Absence.objects.create(person=person, start_at=from_at, end_at=from_at + 10 * HOUR)
        self.acts["absent"] = self.acts.get("absent", 0) + 1


def look(week: Week) -> None:
    """Hold every answer of this hour against the list."""
    now = week.now
    kilns = [one.kiln for one in week.chambers]
    stands = {one.kiln.tag: one for one in kilns_now(kilns, now)}
    programme = {one.kiln.tag: one for one in load_programme(kilns, now, now + 14 * DAY, now).values()}
    board = build_board(now.date(), 7, now)
    on_board = {one.kiln.tag: one for one in board.desk.programme.values()}
    for chamber in week.chambers:
        tag = chamber.kiln.tag
        _kiln_agrees(chamber, stands[tag], now)
        for of in (programme[tag], on_board[tag]):
            _programme_agrees(chamber, of, now)
        assert [one.start_at for one in stands[tag].windows.openings[:1]] == [
            one.start_at for one in programme[tag].windows.openings[:1]
        ], f"{tag} {now}"
    failing = failing_places(now).why
    assert {one.number for one in board.failing} == set(failing)
    _places_hold(failing, now)


def _kiln_agrees(chamber: Chamber, stand: Any, now: datetime) -> None:
    state, where = stand.state.state, f"{chamber.kiln.tag} {now}: {stand.state.state}"
    if chamber.stop is not None:
        assert state in STANDS, where
    elif chamber.shut_in is not None:
        assert state in SHUT, where
        assert stand.charge is not None and stand.charge.pk == chamber.shut_in.pk, where
    elif chamber.unloading is not None:
        assert state is KilnState.UNLOADING, where
    else:
        assert state in (KilnState.OPEN_AND_EMPTY, KilnState.NO_TIMBER, KilnState.LOADING), where


def _programme_agrees(chamber: Chamber, programme: KilnProgramme, now: datetime) -> None:
    where = f"{chamber.kiln.tag} {now}"
    runs = [one.charge_id for one in programme.windows.running if one.is_now]
    opens = [one for one in programme.windows.openings if one.is_now]
    if chamber.stop is not None:
        assert runs == [], where
    elif chamber.shut_in is not None:
        assert runs == [chamber.shut_in.pk] and not opens, where
    else:
        assert runs == [], where
    if chamber.shut_in is not None or chamber.unloading is not None:
        assert not opens, where


def _places_hold(failing: Any, now: datetime) -> None:
    """No job lies where the plainest rules forbid it without being named."""
    taken: dict[int, list[tuple[datetime, datetime, str]]] = {}
    ahead = Placement.objects.filter(work_order__state=WorkOrder.State.PLACED, end_at__gt=now)
    for place in ahead.select_related("work_order"):
        order = place.work_order
        if order.number in failing:
            continue
        where = f"{order.number} {place.start_at} at {now}"
        # What should have begun and has not may still, if the kiln is ready for it by now.
        from_at = max(place.start_at, now)
        charges = Charge.objects.filter(kiln=order.kiln, begin_at__lt=place.end_at, end_at__gt=from_at)
        if order.needs_state == "empty":
            assert not charges.exists(), where
        else:
            assert charges.filter(begin_at__lte=from_at, end_at__gte=place.end_at).exists(), where
        for given in order.assignments.all():
            away = Absence.objects.filter(person=given.person_id, start_at__lt=place.end_at, end_at__gt=place.start_at)
            assert not away.exists(), where
            for start_at, end_at, other in taken.setdefault(given.person_id, []):
                assert end_at <= place.start_at or place.end_at <= start_at, f"{where}: also at {other}"
            taken[given.person_id].append((place.start_at, place.end_at, order.number))


def _the_report_agrees(week: Week) -> None:
    """The report counts each hour of the week once, and the hours that the list has of stops as stops."""
    mill = week.chambers[0].kiln.mill
    first_on = MONDAY.astimezone(mill.zone).date()
    period = ReportPeriod(first_on, first_on + timedelta(days=6), mill.zone)
    report = draw_report(mill, period, period.end_at)
    assert len(report.kilns) == KILNS
    for kiln in report.kilns:
        stops = [(one.start_at, min(one.end_at or period.end_at, period.end_at)) for one in week.stops[kiln.tag]]
        stopped_h = sum((until - since for since, until in stops), timedelta(0)) / HOUR
        assert kiln.hours.total == 7 * 24 - Decimal(str((kiln.counted_from_at - period.start_at) / HOUR))
        assert kiln.hours.stopped == round(Decimal(stopped_h), 1), kiln.tag


def test_a_week_of_twelve_kilns_agrees_at_every_hour(monkeypatch: pytest.MonkeyPatch) -> None:
    at = [MONDAY]
    monkeypatch.setattr("plant.clock.now", lambda: at[0])
    week = Week(20261130, lambda instant: at.__setitem__(0, instant))
    week.live(look)
    _the_report_agrees(week)
    missing = {"stopped", "stop ended", "expected", "opened", "unloaded", "started", "moved", "absent"} - set(week.acts)
    assert not missing, week.acts
    assert sum(count for act, count in week.acts.items() if act.endswith(", sent")) >= 5, week.acts
