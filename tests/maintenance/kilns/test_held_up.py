"""A charge whose end nobody knows since its kiln stood: every page has the same expected end."""

from datetime import timedelta

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from maintenance.kilns.charge_strips import draw
from maintenance.plans.programme import load_programme
from plant.charges.held_up import held_up_charges
from plant.charges.seen import Window, rows_of
from plant.models import Charge, Downtime, Kiln
from tests.factories import ChargeFactory, DowntimeFactory, KilnFactory
from tests.plant.charges.planned import DAY, HOUR, NOW

pytestmark = pytest.mark.django_db
STANDS_H = 10


def stand(kiln: Kiln) -> Downtime:
    start_at = NOW - 6 * HOUR
    stop: Downtime = DowntimeFactory(
        kiln=kiln,
        start_at=start_at,
        end_at=None,
        kind="unplanned",
        share_lost=1,
        expected_end_at=start_at + timedelta(hours=STANDS_H),
        charge_end_unknown_at=start_at,
    )
    return stop


def inside(kiln: Kiln) -> Charge:
    charge: Charge = ChargeFactory(kiln=kiln, begin_at=NOW - 2 * DAY, days=3, basis="running")
    return charge


@time_machine.travel(NOW, tick=False)
def test_row_bar_gap_picture_and_programme_have_the_same_expected_end() -> None:
    kiln = KilnFactory()
    charge = inside(kiln)
    stand(kiln)
    expected_at = charge.end_at + timedelta(hours=STANDS_H)
    window = Window(NOW.date(), kiln.mill.zone)
    [row] = rows_of([kiln], window, NOW)
    assert row.inside is not None and row.is_end_unknown
    assert row.inside.out_at == expected_at
    assert [gap.begin_at for gap in row.gaps] == [expected_at]
    [bar] = row.pieces
    assert round(bar.left + bar.width, 2) == round(window.share(expected_at), 2) and "expected" in bar.words
    assert load_programme([kiln], NOW, NOW + 10 * DAY, NOW)[kiln.pk].forecasts[0].end_at == expected_at
    picture = draw([charge], charge, NOW, kiln.mill.zone, held_up_charges([kiln.pk], NOW))
    assert picture is not None and picture.strips[0].end_at == expected_at
    assert picture.strips[0].expected_phases[-1][1] == expected_at - 2 * HOUR


@time_machine.travel(NOW, tick=False)
def test_a_charge_whose_end_was_told_or_whose_kiln_did_not_stand_keeps_what_is_on_record() -> None:
    kiln = KilnFactory()
    charge = inside(kiln)
    stop = stand(kiln)
    Downtime.objects.filter(pk=stop.pk).update(charge_end_unknown_at=None)
    [row] = rows_of([kiln], Window(NOW.date(), kiln.mill.zone), NOW)
    assert row.inside is not None and not row.is_end_unknown
    assert row.inside.out_at == charge.end_at and "expected" not in row.pieces[0].words


@time_machine.travel(NOW, tick=False)
def test_many_kilns_that_stand_are_asked_as_often_as_one() -> None:
    counts = []
    for _more in range(2):
        for _kiln in range(3):
            kiln = KilnFactory(tag=f"H{Kiln.objects.count()}")
            inside(kiln)
            stand(kiln)
        with CaptureQueriesContext(connection) as asked:
            assert len(held_up_charges(list(Kiln.objects.values_list("pk", flat=True)), NOW)) == Kiln.objects.count()
        counts.append(len(asked))
    assert counts[0] == counts[1]
