"""A logger's file taken in, from its bytes to stored and marked readings, against raw insertion of the same rows."""

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from tests.benchmarks.bench_readings import insert_raw
from tests.benchmarks.harness import BenchmarkError, Measured, at_least, timed
from tests.benchmarks.own_database import own_database, undone

CHANNELS, MOMENTS = 20, 15_000
BEGIN_S = 1_780_000_000
LEAST_SHARE = 1 / 3
REPEATS = 3
ZONE = "Europe/Stockholm"


def run() -> Iterator[Measured]:
    """Measure a wide file and a long one in a database of their own."""
    with own_database():
        channels = _channels()
        for shape in ("wide", "long"):
            yield _taking_in(shape, channels)


def _channels() -> list[Any]:
    from plant.models import Channel, Kiln, Mill
    from plant.physics.quantities import QUANTITIES

    mill = Mill.objects.create(name="Benchmark mill", time_zone=ZONE)
    plain = {"heating_medium": "hot_water", "humidifying": "none", "climate_sensing": "psychrometer"}
    kiln = Kiln.objects.create(mill=mill, tag="K1", usable_m3=60, **plain)
    return [Channel.objects.create(kiln=kiln, quantity=code) for code in list(QUANTITIES)[:CHANNELS]]


def _file(shape: str, names: list[str], values: "np.ndarray[Any, Any]") -> bytes:
    """Write a file as loggers do: local times, decimal commas; a line a time, or a line a reading with its unit."""
    zone = ZoneInfo(ZONE)
    times = [datetime.fromtimestamp(BEGIN_S + 60 * n, UTC).astimezone(zone) for n in range(MOMENTS)]
    cells = [[f"{value:.1f}".replace(".", ",") for value in row] for row in values.tolist()]
    if shape == "wide":
        lines = [f"{at:%d.%m.%Y %H:%M:%S};{';'.join(row)}" for at, row in zip(times, cells, strict=True)]
        return "\r\n".join([";".join(["Time", *names]), *lines, ""]).encode()
    lines = [
        f"{at:%Y-%m-%d %H:%M:%S};{name};{cell};x"
        for at, row in zip(times, cells, strict=True)
        for name, cell in zip(names, row, strict=True)
    ]
    return "\r\n".join(["Time;Channel;Value;Unit", *lines, ""]).encode()


def _taking_in(shape: str, channels: list[Any]) -> Measured:
    from django.db import connection

    from plant.models import ChannelName, Reading, ReadingSource
    from plant.readings.files.calculations.finding import find_form
    from plant.readings.files.file_intake import remembered, take_in_file

    names = [f"C{number}" for number in range(CHANNELS)]
    values = np.round(50 + 10 * np.sin(np.arange(CHANNELS * MOMENTS)), 1).reshape(MOMENTS, CHANNELS)
    raw_file = _file(shape, names, values)
    form = find_form(raw_file, {"zone": ZONE}).form
    if form.shape != shape or not form.is_complete:
        raise BenchmarkError(f"the {shape} file is understood as {form}")
    source = ReadingSource.objects.create(code=shape, name=shape, way="files", file_form=form.to_json())
    if remembered(source) is None:
        raise BenchmarkError("the form is not remembered")
    for name, channel in zip(names, channels, strict=True):
        ChannelName.objects.create(source=source, name=name, channel=channel)
    at_s = (BEGIN_S + 60 * np.arange(MOMENTS)).repeat(CHANNELS).tolist()
    rows = list(zip([channel.pk for channel in channels] * MOMENTS, at_s, values.ravel().tolist(), strict=True))

    def raw() -> None:
        with undone():
            insert_raw(connection, rows)

    def ours() -> int:
        with undone():
            return take_in_file(source, raw_file, f"{shape}.csv", by=None).new

    raw_s, ours_s = float("inf"), float("inf")
    for _ in range(REPEATS):
        raw_s = min(raw_s, timed(raw)[0])
        once_s, new = timed(ours)
        ours_s = min(ours_s, once_s)
        if new != len(rows) or Reading.objects.exists():
            raise BenchmarkError(f"{new} of {len(rows)} readings were new, or some were left behind")
    _compare(source, raw_file, channels, values)
    way = "COPY" if connection.vendor == "postgresql" else "executemany"
    return Measured(
        f"{len(rows):,} readings of a {shape} CSV file taken in, against raw {way}",
        ours_s,
        raw_s,
        "s",
        raw_s / ours_s,
        at_least(LEAST_SHARE),
        f"{len(raw_file) / 1e6:.1f} MB, {len(rows) / ours_s:,.0f} rows/s",
    )


def _compare(source: Any, raw_file: bytes, channels: list[Any], values: Any) -> None:
    """A fast wrong answer is no answer: what was stored is what was written."""
    from plant.models import Reading
    from plant.readings.files.file_intake import take_in_file

    with undone():
        take_in_file(source, raw_file, "once more.csv", by=None)
        for number in (0, CHANNELS - 1):
            found = Reading.objects.filter(channel=channels[number]).order_by("at_s").values_list("at_s", "value")
            expected = [(BEGIN_S + 60 * n, value) for n, value in enumerate(values[:, number].tolist())]
            if list(found) != expected:
                raise BenchmarkError(f"channel {number} was not stored as the file has it")
