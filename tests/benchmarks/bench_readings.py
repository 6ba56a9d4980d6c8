"""Readings: taken in against the raw insertion of the same rows, and one charge's climate out of ten million rows."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from tests.benchmarks.harness import BenchmarkError, Measured, at_least, at_most, timed
from tests.benchmarks.own_database import own_database, undone

if TYPE_CHECKING:
    from plant.models import Kiln, User
    from plant.readings.spans import Series

CHANNELS, CHARGE_DAYS = 20, 6
DAY_S = 86_400
# Readings of 20 channels of ten kilns every minute make ten million in 34 days and 17 hours.
KILNS, ROWS = 10, 10_000_000
BATCH = 400_000
BEGIN_S = 1_735_689_600
LEAST_SHARE, MOST_TIMES = 0.6, 3.0
REPEATS = 3
INSERT = "INSERT INTO plant_reading (channel_id, at_s, value, marks) VALUES (%s, %s, %s, 0)"
ONE_CHARGE = (
    "SELECT channel_id, at_s, value, marks FROM plant_reading"
    " WHERE channel_id IN ({places}) AND at_s >= %s AND at_s < %s ORDER BY channel_id, at_s"
)


def run() -> Iterator[Measured]:
    """Measure both in a database of their own."""
    with own_database():
        kilns = _kilns()
        yield _taking_in(kilns[0])
        yield _one_charge(kilns)


def _kilns() -> "list[Kiln]":
    from plant.models import Channel, Kiln, Mill
    from plant.physics.quantities import QUANTITIES

    mill = Mill.objects.create(name="Benchmark mill")
    plain = {"heating_medium": "hot_water", "humidifying": "none", "climate_sensing": "psychrometer"}
    kilns = [Kiln.objects.create(mill=mill, tag=f"K{n + 1}", usable_m3=60, **plain) for n in range(KILNS)]
    for kiln in kilns:
        Channel.objects.bulk_create([Channel(kiln=kiln, quantity=code) for code in list(QUANTITIES)[:CHANNELS]])
    return kilns


def _channel_ids(kiln: "Kiln") -> list[int]:
    from plant.models import Channel

    return list(Channel.objects.filter(kiln=kiln).order_by("pk").values_list("pk", flat=True))


def _taking_in(kiln: "Kiln") -> Measured:
    """Take a batch in, checked and marked, against its bare insertion, each into the same empty table."""
    from django.db import connection

    from plant.models import Reading
    from plant.readings.taking_in import take_in

    ids = _channel_ids(kiln)
    at_s = BEGIN_S + 60 * np.arange(BATCH // CHANNELS, dtype=np.int64)
    # As a logger writes: moment by moment, all channels of it.
    moments, channel_id = (grid.ravel() for grid in np.meshgrid(at_s, ids, indexing="ij"))
    value = np.round(50 + 10 * np.sin(np.arange(BATCH)), 1)
    rows = list(zip(channel_id.tolist(), moments.tolist(), value.tolist(), strict=True))

    def raw() -> None:
        with undone():
            insert_raw(connection, rows)

    def ours() -> int:
        with undone():
            return take_in(channel_id, moments, value).new

    raw_s, ours_s = float("inf"), float("inf")
    for _ in range(REPEATS):
        raw_s = min(raw_s, timed(raw)[0])
        once_s, new = timed(ours)
        ours_s = min(ours_s, once_s)
        if new != BATCH or Reading.objects.exists():
            raise BenchmarkError(f"{new} of {BATCH} readings were new, or some were left behind")
    way = "COPY" if connection.vendor == "postgresql" else "executemany"
    name = f"{BATCH:,} readings taken in, against raw {way}"
    share = raw_s / ours_s
    return Measured(name, ours_s, raw_s, "s", share, at_least(LEAST_SHARE), f"{BATCH / ours_s:,.0f} rows/s")


def insert_raw(connection: Any, rows: list[tuple[int, int, float]]) -> None:
    """Insert rows in the fastest plain way of the database."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with cursor.copy("COPY plant_reading (channel_id, at_s, value, marks) FROM STDIN") as copy:
                for channel_id, at_s, value in rows:
                    copy.write_row((channel_id, at_s, value, 0))
        else:
            cursor.executemany(INSERT, rows)


def _one_charge(kilns: "list[Kiln]") -> Measured:
    """Open the climate page of one charge out of a full table, against the bare SQL of its readings."""
    from django.db import connection
    from django.test import Client

    from plant.readings.spans import load_span

    all_ids = [one for kiln in kilns for one in _channel_ids(kiln)]
    _fill(connection, all_ids)
    kiln, ids = kilns[4], _channel_ids(kilns[4])
    from_s = BEGIN_S + 14 * DAY_S
    until_s = from_s + CHARGE_DAYS * DAY_S
    address = _with_charge(kiln, from_s, until_s)
    sql = ONE_CHARGE.format(places=", ".join(["%s"] * len(ids)))
    client = Client()
    client.force_login(_manager(), backend="django.contrib.auth.backends.ModelBackend")

    def raw() -> list[tuple[int, int, float, int]]:
        with connection.cursor() as cursor:
            cursor.execute(sql, [*ids, from_s, until_s])
            return list(cursor.fetchall())

    def page() -> str:
        return client.get(address).content.decode()

    # Once before measuring: templates are compiled and modules read.
    page()
    rows, raw_s, span_s, page_s = raw(), float("inf"), float("inf"), float("inf")
    for _ in range(REPEATS):
        raw_s = min(raw_s, timed(raw)[0])
        once_s, found = timed(lambda: load_span(kiln, from_s, until_s))
        span_s = min(span_s, once_s)
        once_s, shown = timed(page)
        page_s = min(page_s, once_s)
    _compare(rows, found)
    if "<polyline" not in shown and "<path" not in shown:
        raise BenchmarkError(f"the page at {address} shows no line")
    ratio = page_s / raw_s
    name = f"climate page of one charge ({len(rows):,} rows) out of {ROWS:,}, against its raw SQL"
    note = f"its readings alone {span_s / raw_s:.2f}"
    return Measured(name, page_s, raw_s, "s", ratio, at_most(MOST_TIMES), note)


def _with_charge(kiln: "Kiln", from_s: int, until_s: int) -> str:
    """Put a charge on record and return the address of its climate."""
    from datetime import timedelta

    from django.urls import reverse

    from plant.basics.periods import from_epoch_s
    from plant.models import Charge, Phase

    begin_at, end_at = from_epoch_s(from_s), from_epoch_s(until_s)
    times = {"begin_at": begin_at, "end_at": end_at, "planned_begin_at": begin_at, "planned_end_at": end_at}
    timber = {"species": "spruce", "thickness_mm": 50, "volume_m3": 55}
    charge = Charge.objects.create(kiln=kiln, number="25-001", basis=Charge.Basis.DONE, **timber, **times)
    heated_at = begin_at + timedelta(hours=9)
    for kind, first, last in (("heating_up", begin_at, heated_at), ("drying", heated_at, end_at)):
        Phase.objects.create(
            charge=charge, kind=kind, begin_at=first, end_at=last, planned_begin_at=first, planned_end_at=last
        )
    return reverse("maintenance:kiln-climate", args=[kiln.tag]) + "?charge=25-001"


def _manager() -> "User":
    from plant.access import Role
    from plant.models import RoleHeld, User

    user = User.objects.create(username="rolf")
    RoleHeld.objects.create(user=user, role=Role.MANAGER)
    return user


def _compare(rows: list[tuple[int, int, float, int]], found: "dict[str, Series]") -> None:
    values = np.concatenate([series.value for series in found.values()])
    if len(rows) != len(values) or not np.isclose(sum(row[2] for row in rows), float(values.sum())):
        raise BenchmarkError(f"{len(values)} readings instead of {len(rows)}, or others")


def _fill(connection: Any, ids: list[int]) -> None:
    """Fill the table with ten million rows, channel by channel, made by the database itself."""
    each = ROWS // len(ids)
    is_postgresql = connection.vendor == "postgresql"
    numbers = (
        "generate_series(0, %s) AS n"
        if is_postgresql
        else "(WITH RECURSIVE c(n) AS (SELECT 0 UNION ALL SELECT n + 1 FROM c WHERE n < %s) SELECT n FROM c)"
    )
    sql = (
        "INSERT INTO plant_reading (channel_id, at_s, value, marks)"
        f" SELECT %s, {BEGIN_S} + 60 * n, 20 + n %% 50 + 0.1, 0 FROM {numbers}"
    )
    with connection.cursor() as cursor:
        if is_postgresql:
            # The rows are sound and the table is thrown away: looking up ten million channels takes minutes.
            cursor.execute(
                "SELECT conname FROM pg_constraint WHERE conrelid = 'plant_reading'::regclass AND contype = 'f'"
            )
            for (reference,) in cursor.fetchall():
                cursor.execute(f"ALTER TABLE plant_reading DROP CONSTRAINT {connection.ops.quote_name(reference)}")
        for one in ids:
            cursor.execute(sql, [one, each - 1])
        if is_postgresql:
            cursor.execute("ANALYZE plant_reading")
