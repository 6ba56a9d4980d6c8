"""Readings sent as JSON through the whole of the program, against the raw insertion of the same rows."""

import json
from datetime import UTC, datetime
from typing import Any

from tests.benchmarks.bench_readings import insert_raw
from tests.benchmarks.harness import BenchmarkError, Measured, at_least, timed
from tests.benchmarks.own_database import own_database, undone

# One body of the largest number of readings: 20 channels of a kiln over three and a half days.
CHANNELS, ROWS = 20, 100_000
BEGIN_S = 1_735_689_600
LEAST_SHARE = 0.1
REPEATS = 3


def run() -> list[Measured]:
    """Measure in a database of its own."""
    with own_database():
        return [_sending()]


def _sending() -> Measured:
    from django.db import connection

    kiln_tag, keys, ids, token = _mill()
    moments = [BEGIN_S + 60 * (number // CHANNELS) for number in range(ROWS)]
    values = [round(20 + number % 997 / 32, 2) for number in range(ROWS)]
    rows = [(ids[n % CHANNELS], at_s, value) for n, (at_s, value) in enumerate(zip(moments, values, strict=True))]
    # As most systems write: the time as text, the channel by its name.
    items = [
        {
            "channel": f"{kiln_tag}/{keys[n % CHANNELS]}",
            "at": datetime.fromtimestamp(at_s, UTC).isoformat(),
            "value": value,
        }
        for n, (at_s, value) in enumerate(zip(moments, values, strict=True))
    ]
    body = json.dumps({"readings": items}).encode()

    def raw() -> None:
        with undone():
            insert_raw(connection, rows)

    def ours() -> Any:
        from django.test import Client

        head = {"Authorization": f"Bearer {token}"}
        with undone():
            answer = Client().generic("POST", "/api/readings", body, content_type="application/json", headers=head)
            return answer.status_code, answer.json().get("new")

    raw_s, ours_s = float("inf"), float("inf")
    for _ in range(REPEATS):
        raw_s = min(raw_s, timed(raw)[0])
        once_s, answered = timed(ours)
        ours_s = min(ours_s, once_s)
        if answered != (200, ROWS):
            raise BenchmarkError(f"the body was answered by {answered}")
    share = raw_s / ours_s
    way = "COPY" if connection.vendor == "postgresql" else "executemany"
    name = f"{ROWS:,} readings sent as JSON ({len(body) / 1e6:.1f} MB), against raw {way}"
    return Measured(name, ours_s, raw_s, "s", share, at_least(LEAST_SHARE), f"{ROWS / ours_s:,.0f} rows/s")


def _mill() -> tuple[str, list[str], list[int], str]:
    """Make a kiln with its channels, and a source with a token; return tag, keys, ids and the token."""
    from plant.models import Channel, Kiln, Mill, ReadingSource
    from plant.physics.quantities import QUANTITIES
    from plant.readings.source_tokens import make_token

    mill = Mill.objects.create(name="Benchmark mill")
    plain = {"heating_medium": "hot_water", "humidifying": "none", "climate_sensing": "psychrometer"}
    kiln = Kiln.objects.create(mill=mill, tag="K1", usable_m3=60, **plain)
    Channel.objects.bulk_create([Channel(kiln=kiln, quantity=code) for code in list(QUANTITIES)[:CHANNELS]])
    channels = list(Channel.objects.filter(kiln=kiln).order_by("pk"))
    source = ReadingSource.objects.create(code="sender", name="Sender", way="sends")
    return kiln.tag, [one.key for one in channels], [one.pk for one in channels], make_token(source, by=None)[1]
