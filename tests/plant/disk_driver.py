"""Run as ``python -m tests.plant.disk_driver FULL|NORMAL`` with a test server's environment: stores a batch of
readings, a move of stock and a permit, and says on standard error when each is acknowledged.
"""

import os
import sys
from collections.abc import Callable
from decimal import Decimal
from typing import Any
from uuid import uuid4

import django


def main(synchronous: str) -> None:
    """Store one after the other."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    django.setup()
    from django.db import connection

    from inventory.actions import receive
    from maintenance.entry.permits import EntryAnswers, open_permit
    from plant.models import Channel, ReadingSource
    from plant.readings.taking_in import take_in
    from tests.factories import KilnFactory, PartFactory, PersonFactory

    channel, source = Channel.objects.all()[0], ReadingSource.objects.filter(way="sends").get()
    part, kiln = PartFactory(code=synchronous), KilnFactory(tag=synchronous)
    inside, outside = (PersonFactory(code=f"{name}-{synchronous}", name=name) for name in ("per", "nils"))
    answers = EntryAnswers(inside, outside, Decimal(20), True, True, True, note="the test of what lies on the disk")
    begin_s = 1_735_689_600 if synchronous == "FULL" else 1_735_776_000
    if synchronous != "FULL":
        connection.cursor().execute(f"PRAGMA synchronous = {synchronous}")

    def batch(second: int) -> Callable[[], Any]:
        return lambda: take_in([channel.pk], [begin_s + second], [40.0], source=source)

    writes: list[tuple[str, Callable[[], Any]]] = [
        *((f"batch {second}", batch(second)) for second in range(20)),
        ("move", lambda: receive(part, Decimal(3), by=None, key=uuid4())),
        ("permit", lambda: open_permit(kiln, answers, by=None, key=uuid4())),
    ]
    for name, write in writes:
        write()
        os.write(2, f"ACKNOWLEDGED {name}\n".encode())


main(*sys.argv[1:])
