"""The demo's tests of chambers: invented figures of three years, and one that the readings could not carry."""

from datetime import datetime, time, timedelta
from uuid import NAMESPACE_OID, uuid5

from maintenance.chamber_tests.calculations.figures import Refusal, Why
from maintenance.demo.world import read_static
from maintenance.models import ChamberTest
from plant import clock
from plant.models import Kiln, Mill

REFUSED_DAYS_AGO = 97


def record_chamber_tests() -> None:
    """Put the tests on record, as they would have been entered at the time."""
    mill, kilns = Mill.objects.current(), {kiln.tag: kiln for kiln in Kiln.objects.all()}
    today = clock.today(mill.zone)
    rows = []
    for row in read_static("chamber_tests"):
        begin_at = datetime.combine(
            today - timedelta(days=int(row["days_ago"])), time.fromisoformat(row["begin"]), tzinfo=mill.zone
        )
        rows.append(
            ChamberTest(
                key=uuid5(NAMESPACE_OID, f"{row['kiln']} {row['kind']} {row['days_ago']}"),
                kiln=kilns[row["kiln"]],
                kind=row["kind"],
                fans=row["fans"],
                begin_at=begin_at,
                end_at=begin_at + timedelta(hours=int(row["hours"])),
                value=float(row["value"]),
                low=float(row["low"]),
                high=float(row["high"]),
                details={"volume_m3": float(row["volume_m3"])},
                note=row["note"],
                at=begin_at + timedelta(hours=int(row["hours"]) + 1),
            )
        )
    begin_at = datetime.combine(today - timedelta(days=REFUSED_DAYS_AGO), time(15, 30), tzinfo=mill.zone)
    refusal = Refusal(Why.DOOR, {"minutes": 35})
    rows.append(
        ChamberTest(
            key=uuid5(NAMESPACE_OID, "K1 refused"),
            kiln=kilns["K1"],
            kind=ChamberTest.Kind.TIGHTNESS,
            fans=ChamberTest.Fans.ON,
            begin_at=begin_at,
            end_at=begin_at + timedelta(hours=8),
            refused_why=str(refusal.why),
            details={"why": str(refusal.why), "facts": dict(refusal.facts), "volume_m3": 240.0},
            at=begin_at + timedelta(hours=9),
        )
    )
    ChamberTest.objects.bulk_create(rows)
