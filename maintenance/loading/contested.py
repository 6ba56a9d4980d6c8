"""Rows of a watched file, which nobody brings: what they plan is loaded, what they tell is told; nobody goes in by it.

A row of a charge that a person leads is left out, and what differs is kept beside ours. What happened to a charge that
is not out yet is told as another program tells it (``plant.charges.heard``), never written into the record.
"""

from django.core.exceptions import ValidationError

from maintenance.loading.base import Load, Row, Table
from maintenance.loading.phases import planned_phases
from plant.charges.heard import SAME, HeardCharge, ToldThere, contest, hear_told
from plant.models import Charge, Phase

FACTS = (
    "species",
    "thickness_mm",
    "volume_m3",
    "initial_mc_pct",
    "final_mc_pct",
    "promised_at",
    "late_cost_per_h",
)
Basis = Charge.Basis


def leave_contested(table: Table, rows: list[Row], load: Load) -> list[Row]:
    """Return the rows that may be loaded; what the others say is told, or kept beside ours."""
    kilns = {row.values["kiln"].pk for row in rows}
    kept = Charge.objects.filter(kiln__in=kilns, number__in={row.values["number"] for row in rows})
    charges = {(one.kiln_id, one.number): one for one in kept.select_related("kiln").prefetch_related("phases")}
    begun = Charge.objects.filter(kiln__in=kilns).exclude(basis=Basis.PLANNED).order_by("begin_at")
    last_begun = {one.kiln_id: one for one in begun}
    return [
        row
        for row in rows
        if _may_be_loaded(
            table,
            row,
            charges.get((row.values["kiln"].pk, row.values["number"])),
            last_begun.get(row.values["kiln"].pk),
            load,
        )
    ]


def _may_be_loaded(table: Table, row: Row, charge: Charge | None, last: Charge | None, load: Load) -> bool:
    v = row.values
    if charge is None:
        if v["basis"] == Basis.PLANNED or last is None or v["begin_at"] < last.begin_at:
            return True
        # A later charge says that the one before is out: that a person answers for.
        reason = f"the charge is new here and {v['basis']}, though {last.number} was in {v['kiln'].tag} last"
        load.fault(table, row, "basis", reason, "Bring it by the page of files, or tell it on the page of charges.")
        return False
    heard = _heard(row)
    if contest(charge, heard, load.source):
        return False
    if charge.basis == v["basis"] != Basis.RUNNING:
        return True
    if charge.basis != Basis.DONE:
        try:
            hear_told(charge, heard.told, load.source)
        except ValidationError as refusal:
            load.fault(table, row, "basis", " ".join(refusal.messages), "Correct the time, or leave the row out.")
    return False


def _heard(row: Row) -> HeardCharge:
    v = row.values
    given = {name for name, text in row.text.items() if text.strip()}
    facts = {name: v[name] for name in FACTS if name in given}
    begin_at = v["planned_begin_at"] if given & {"planned_begin_at", "begin_at"} else None
    end_at = v["planned_end_at"] if given & {"planned_end_at", "end_at"} else None
    return HeardCharge(v["kiln"].tag, v["number"], facts, begin_at, end_at, _told(row, given))


def _told(row: Row, given: set[str]) -> tuple[ToldThere, ...]:
    """Return what a row says that happened, or is expected, where it says when."""
    v = row.values
    if v["basis"] == Basis.DONE and "end_at" in given:
        return (ToldThere("unloaded", v["end_at"]),)
    if v["basis"] != Basis.RUNNING or "begin_at" not in given:
        return ()
    starts = (begin for kind, _pb, _pe, begin, _end in planned_phases(v) if kind != Phase.Kind.LOADING)
    started = ToldThere("started", next(starts, v["begin_at"]))
    is_end_other = "end_at" in given and abs(v["end_at"] - v["planned_end_at"]) > SAME
    return (started, ToldThere("expected", v["end_at"])) if is_end_other else (started,)
