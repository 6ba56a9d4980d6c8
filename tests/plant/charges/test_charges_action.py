"""Charges that give way to work: loaded later, or interrupted."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError

from plant.charges.shifting import Shift, shift_charges
from plant.models import Change, Charge, Kiln, Mill, Phase
from tests.factories import MONDAY, KilnFactory
from tests.maintenance.placing_mill import programme

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


def times(charge: Charge) -> list[object]:
    charge.refresh_from_db()
    phases = Phase.objects.filter(charge=charge).order_by("begin_at")
    return [charge.begin_at, charge.end_at, *((phase.begin_at, phase.end_at) for phase in phases)]


def test_a_charge_loaded_later_takes_its_phases_along_and_keeps_what_was_promised() -> None:
    _first, second = programme()
    before, promised = times(second), second.planned_begin_at

    moved = shift_charges(second.kiln, {second.pk: Shift(later=3 * HOUR)}, why="work", by=None)

    assert moved == [second]
    begin, end, *phases = before
    assert times(second) == [begin + 3 * HOUR, end + 3 * HOUR, *((a + 3 * HOUR, b + 3 * HOUR) for a, b in phases)]
    assert second.planned_begin_at == promised
    assert Change.objects.about(second).last().note == "work"


def test_charges_behind_give_way_only_as_far_as_they_must() -> None:
    _first, second, third = programme(charges=3)
    free_h = (third.begin_at - second.end_at) / HOUR
    was = third.begin_at

    shift_charges(second.kiln, {second.pk: Shift(later=(free_h - 1) * HOUR)}, why="work", by=None)
    third.refresh_from_db()
    assert third.begin_at == was
    shift_charges(second.kiln, {second.pk: Shift(later=3 * HOUR)}, why="work", by=None)
    second.refresh_from_db()
    third.refresh_from_db()
    assert third.begin_at == second.end_at == was + 2 * HOUR


def test_a_charge_behind_that_gives_way_to_work_is_loaded_when_the_yard_works() -> None:
    _first, second, third = programme(charges=3)
    zone = second.kiln.mill.zone
    later = third.begin_at - second.end_at + 3 * HOUR
    free_at = (second.end_at + later).astimezone(zone)
    # The yard has stopped by then, and works again from the same hour less two of the next day.
    span = [f"{hour:02}:00" for hour in (free_at.hour - 2, free_at.hour - 1)]
    Mill.objects.update(yard_hours=[span] * 7)
    kiln = Kiln.objects.get(pk=second.kiln_id)

    shift_charges(kiln, {second.pk: Shift(later=later)}, why="work", by=None)

    third.refresh_from_db()
    loaded_at = third.begin_at.astimezone(zone)
    assert free_at < loaded_at < free_at + timedelta(days=1)
    assert loaded_at.strftime("%H:%M") == span[0]


def test_an_interruption_lengthens_what_lies_behind_it() -> None:
    first, _second = programme()
    before = times(first)
    at = MONDAY + timedelta(days=2)

    shift_charges(first.kiln, {first.pk: Shift(interrupted_at=at, longer=5 * HOUR)}, why="work", by=None)

    begin, end, *phases = before
    after = times(first)
    assert after[:2] == [begin, end + 5 * HOUR]
    for (was_from, was_to), (now_from, now_to) in zip(phases, after[2:], strict=True):
        assert now_from == was_from + (5 * HOUR if was_from > at else timedelta(0))
        assert now_to == was_to + (5 * HOUR if was_to > at else timedelta(0))


def test_a_charge_that_has_begun_is_not_loaded_later() -> None:
    first, _second = programme(KilnFactory())

    with pytest.raises(ValidationError, match="has begun"):
        shift_charges(first.kiln, {first.pk: Shift(later=HOUR)}, why="work", by=None)
