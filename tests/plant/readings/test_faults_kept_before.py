"""Why a file was refused in an earlier version stays: its texts become sentences as if somebody had typed them."""

import json

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from plant import clock
from plant.basics.sentences import typed
from plant.models import FileIntake
from tests.factories import ReadingSourceFactory

BEFORE = ("plant", "0018_what_was_told_of_charges")
TOLD = ["Line 3, column “T”: “warm” is no number.", "And 3 more of the kind."]


@pytest.mark.django_db(transaction=True)
def test_faults_that_were_kept_as_texts_stay() -> None:
    source = ReadingSourceFactory()
    for name in ("good.csv", "bad.csv"):
        FileIntake.objects.create(source=source, file_name=name, digest="0" * 64, at=clock.now())
    MigrationExecutor(connection).migrate([BEFORE])
    try:
        with connection.cursor() as cursor:
            kept = [json.dumps(TOLD), "bad.csv"]
            cursor.execute("UPDATE plant_fileintake SET faults = %s WHERE file_name = %s", kept)
    finally:
        executor = MigrationExecutor(connection)
        executor.migrate(executor.loader.graph.leaf_nodes())
    told = dict(FileIntake.objects.values_list("file_name", "faults"))
    assert told == {"good.csv": (), "bad.csv": typed(TOLD[0]) + typed(TOLD[1])}
