"""Run as ``python -m tests.benchmarks.on_disk_driver`` with an empty data folder: prints what each acknowledged batch
took in seconds, synced (FULL) and not (NORMAL), in turn.
"""

import json
import os
import time

import django

# A kiln's minute: a reading of each of 20 channels.
CHANNELS, BATCHES = 20, 300
BEGIN_S = 1_735_689_600


def main() -> None:
    """Make a kiln in a database file and take readings in, a minute at a time."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    django.setup()
    from django.core.management import call_command
    from django.db import connection

    from plant.models import Channel, Kiln, Mill
    from plant.physics.quantities import QUANTITIES
    from plant.readings.taking_in import take_in

    call_command("migrate", verbosity=0)
    mill = Mill.objects.create(name="Benchmark mill")
    plain = {"heating_medium": "hot_water", "humidifying": "none", "climate_sensing": "psychrometer"}
    kiln = Kiln.objects.create(mill=mill, tag="K1", usable_m3=60, **plain)
    Channel.objects.bulk_create([Channel(kiln=kiln, quantity=code) for code in list(QUANTITIES)[:CHANNELS]])
    ids = list(Channel.objects.values_list("pk", flat=True))
    took: dict[str, list[float]] = {"FULL": [], "NORMAL": []}
    for number in range(2 * BATCHES):
        kind = ("FULL", "NORMAL")[number % 2]
        connection.cursor().execute(f"PRAGMA synchronous = {kind}")
        begun = time.perf_counter()
        take_in(ids, [BEGIN_S + 60 * number] * len(ids), [50.0] * len(ids))
        took[kind].append(time.perf_counter() - begun)
    print(json.dumps(took))  # noqa: T201


main()
