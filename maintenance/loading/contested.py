"""Rows of a watched file that speak of charges which a person leads: left out, and what differs kept beside ours."""

from maintenance.loading.base import Load, Row
from maintenance.loading.phases import planned_phases
from plant.charges.heard import HeardCharge, ToldThere, contest
from plant.models import Charge, Phase

FACTS = (
    "species", "thickness_mm", "volume_m3", "initial_mc_pct", "final_mc_pct", "promised_at", "late_cost_per_h",
)  # fmt: skip


def leave_contested(rows: list[Row], load: Load) -> list[Row]:
    """Leave out the rows of charges that a person leads; what differs is kept beside ours."""
    numbers = {row.values["number"] for row in rows}
    kept = Charge.objects.filter(kiln__in={row.values["kiln"].pk for row in rows}, number__in=numbers)
    charges = {(one.kiln_id, one.number): one for one in kept.select_related("kiln").prefetch_related("phases")}
    return [row for row in rows if not _is_contested(row, charges, load)]


def _is_contested(row: Row, charges: dict[tuple[int, str], Charge], load: Load) -> bool:
    v = row.values
    charge = charges.get((v["kiln"].pk, v["number"]))
    if charge is None:
        return False
    given = {name for name, text in row.text.items() if text.strip()}
    facts = {name: v[name] for name in FACTS if name in given}
    begin_at = v["planned_begin_at"] if given & {"planned_begin_at", "begin_at"} else None
    end_at = v["planned_end_at"] if given & {"planned_end_at", "end_at"} else None
    heard = HeardCharge(v["kiln"].tag, v["number"], facts, begin_at, end_at, _told(row, given))
    return contest(charge, heard, load.source)


def _told(row: Row, given: set[str]) -> tuple[ToldThere, ...]:
    """Return what a row says that happened, where it says when."""
    v = row.values
    if v["basis"] == Charge.Basis.DONE and "end_at" in given:
        return (ToldThere("unloaded", v["end_at"]),)
    if v["basis"] == Charge.Basis.RUNNING and "begin_at" in given:
        starts = (begin for kind, _pb, _pe, begin, _end in planned_phases(v) if kind != Phase.Kind.LOADING)
        return (ToldThere("started", next(starts, v["begin_at"])),)
    return ()
