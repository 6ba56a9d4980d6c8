"""Which task sheet a watch asks for once the one that ships is withdrawn."""

from uuid import uuid4

import pytest

from maintenance.loading.loader import load_catalogue
from maintenance.models import TaskSheet, Watch
from maintenance.sheets.content import content_of
from maintenance.sheets.keeping import make, withdraw
from maintenance.watches.settings import set_up_watches
from tests.factories import UserFactory
from tests.maintenance.watching_mill import a_component, a_watched_kiln

pytestmark = pytest.mark.django_db


def test_a_shipped_watch_keeps_what_it_goes_on_by_and_a_new_one_takes_the_copy() -> None:
    load_catalogue()
    oda = UserFactory(username="oda", role="planner")
    kiln = a_watched_kiln("wet_bulb", "air_temperature", places=("left", "right"))
    a_component(kiln, "psychrometer")
    set_up_watches(kiln, by=None)
    shipped = TaskSheet.objects.get(code="wick-exchange")
    watch = Watch.objects.filter(kiln=kiln, sheet=shipped).first()
    assert watch
    copied = make(TaskSheet(), content_of(shipped), key=uuid4(), by=oda, copied=shipped)
    own = make(TaskSheet(), {**content_of(shipped), "title": "Ours"}, key=uuid4(), by=oda)
    assert isinstance(own, TaskSheet)
    withdraw(shipped, "Ours is better.", instead=own, by=oda)

    assert set_up_watches(kiln, by=None).changed == 0
    watch.refresh_from_db()
    assert watch.sheet == own
    Watch.objects.filter(pk=watch.pk).delete()
    set_up_watches(kiln, by=None)
    assert Watch.objects.get(kiln=kiln, code=watch.code).sheet == copied
