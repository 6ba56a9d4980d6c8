"""A firing of an earlier version keeps what it said: its text becomes a sentence as if somebody had typed it."""

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from maintenance.models import Firing, Watch
from plant import clock
from plant.basics.sentences import typed
from tests.factories import KilnFactory, MillFactory

BEFORE = ("maintenance", "0025_why_work_recurs_is_sentences")


@pytest.mark.django_db(transaction=True)
def test_what_a_firing_said_as_text_stays() -> None:
    watch = Watch.objects.create(kiln=KilnFactory(mill=MillFactory()), code="wick", name="Wick", sentence="Dry.")
    for _firing in range(2):
        Firing.objects.create(watch=watch, begin_at=clock.now(), noticed_at=clock.now())
    MigrationExecutor(connection).migrate([BEFORE])
    try:
        with connection.cursor() as cursor:
            cursor.execute("UPDATE maintenance_firing SET sentence = ''")
            cursor.execute(
                "UPDATE maintenance_firing SET sentence = %s WHERE id = (SELECT max(id) FROM maintenance_firing)",
                ["The wick is dry: 0.2 K “below” since 2 Mar."],
            )
    finally:
        executor = MigrationExecutor(connection)
        executor.migrate(executor.loader.graph.leaf_nodes())
    told = Firing.objects.order_by("pk").values_list("sentence", flat=True)
    assert list(told) == [(), typed("The wick is dry: 0.2 K “below” since 2 Mar.")]
