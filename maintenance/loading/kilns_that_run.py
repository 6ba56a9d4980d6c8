"""Rows that would let a kiln run while somebody is inside are refused; reports that it runs are kept, and told.

A charge whose begin is over is a report: the kiln runs, whether anybody likes it or not. A charge that is called
running from some later instant on, and the end of a stop, are acts.
"""

from django.db.models import Q

from maintenance.loading.base import Load, Row, Table
from maintenance.loading.faults import RunningSaid
from plant import clock
from plant.downtime.keeping import DowntimeFacts, lets_run
from plant.models import Charge, Downtime
from plant.signals import runs_against_bar
from plant.warnings.running_bars import lock_kiln, running_bars, say_bar

AGAINST = "runs_against"


def refuse_beginning(table: Table, rows: list[Row], load: Load) -> list[Row]:
    """Refuse charges that are to begin on a barred kiln, mark those begun on one; report all that newly run."""
    running = [row for row in rows if row.values["basis"] == Charge.Basis.RUNNING]
    ids = sorted({row.values["kiln"].pk for row in running})
    bars = running_bars([lock_kiln(pk) for pk in ids])
    kept = Charge.objects.filter(kiln__in=ids, basis=Charge.Basis.RUNNING).values_list("kiln_id", "number")
    known, now, refused = set(kept), clock.now(), set()
    for row in running:
        v = row.values
        bar = bars.get(v["kiln"].pk)
        if (v["kiln"].pk, v["number"]) in known:
            continue
        if v["begin_at"] <= now:
            load.report.runs.append(RunningSaid(v["kiln"].tag, v["number"], v["begin_at"].isoformat()))
        if bar is None:
            continue
        v[AGAINST] = v["begin_at"] <= now
        if not v[AGAINST]:
            reason = f"the charge cannot begin: {say_bar(v['kiln'], bar)}"
            load.fault(table, row, "basis", reason, "Load it as planned; it begins when the chamber is closed.")
            refused.add(row.number)
    return [row for row in rows if row.number not in refused]


def tell_running(rows: list[Row]) -> None:
    """Tell of charges that have begun on a barred kiln, inside the transaction that keeps them."""
    for row in rows:
        if row.values.get(AGAINST):
            facts = {"charge": row.values["number"], "begin_at": row.values["begin_at"].isoformat()}
            runs_against_bar.send(Charge, kiln=row.values["kiln"], kind="charge begun", facts=facts)


def refuse_ends(table: Table, rows: list[Row], load: Load) -> list[Row]:
    """Refuse rows by which a barred kiln would be stopped for less long, or less of it."""
    now = clock.now()
    goes_on = Downtime.objects.filter(Q(end_at__isnull=True) | Q(end_at__gt=now))
    kept = {
        (one.kiln_id, one.start_at, one.kind): one
        for one in goes_on.filter(kiln__in={row.values["kiln"].pk for row in rows})
    }
    ending = []
    for row in rows:
        v = row.values
        known = kept.get((v["kiln"].pk, v["start_at"], v["kind"]))
        if known is None:
            continue
        share_lost = v["share_lost"] if "share_lost" in row.text else known.share_lost
        said = DowntimeFacts(known.kind, known.start_at, v["end_at"] or known.end_at, share_lost=share_lost)
        if lets_run(known, said, now):
            ending.append(row)
    bars = running_bars([lock_kiln(pk) for pk in sorted({row.values["kiln"].pk for row in ending})])
    refused = set()
    for row in ending:
        bar = bars.get(row.values["kiln"].pk)
        if bar is not None:
            reason = f"the stop cannot end: {say_bar(row.values['kiln'], bar)}"
            load.fault(table, row, "end_at", reason, "Leave it open until the chamber is closed for entry.")
            refused.add(row.number)
    return [row for row in rows if row.number not in refused]
