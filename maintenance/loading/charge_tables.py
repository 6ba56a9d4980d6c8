"""The files of what a kiln did: charges and downtime."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import timedelta
from typing import Any

from django.db.models import F

from maintenance.loading.base import BATCH, KILN, Load, Row, Span, Table, as_shown, refuse_other_kind
from maintenance.loading.columns import (
    Choice,
    Flag,
    Moment,
    Number,
    Ref,
    Text,
    Values,
    Whole,
)
from maintenance.loading.contested import leave_contested
from maintenance.loading.faults import CellFault
from maintenance.loading.kilns_that_run import refuse_beginning, refuse_ends, tell_running
from maintenance.loading.phases import KINDS, PHASE_COLUMNS, lay_phases, planned_phases, refuse_disorder
from plant import clock
from plant.models import Charge, Downtime, Phase


class ChargeTable(Table):
    """Charges with their phases."""

    name = "charges"
    meaning = (
        "One row for each charge, past and planned. Phases either as hours, one after the other, or as the instants at "
        "which they began; what is left of the charge counts as drying. Empty times are taken from the plan."
    )
    model = Charge
    act = "plan charges"
    key = ("kiln", "number")
    spans = (
        Span("begin_at", "end_at", "the charge ends before it starts"),
        Span("planned_begin_at", "planned_end_at", "the charge ends before it starts"),
    )
    columns = (
        KILN,
        Text("number", "number of the charge, once per kiln", "26-118", is_required=True, largest=20),
        Text("species", "species", "spruce", is_required=True, largest=60),
        Whole("thickness_mm", "thickness in mm", "50", is_required=True, least="1", most="1000"),
        Number("volume_m3", "volume in m³", "84", is_required=True, above="0"),
        Number("initial_mc_pct", "moisture content at the start in %", "70", decimals=1, least="0", most="400"),
        Number("final_mc_pct", "wanted moisture content in %", "18", decimals=1, least="0", most="100"),
        Choice("basis", "planned, running or done", "done", default="planned", options=Charge.Basis),
        Moment("planned_begin_at", "planned begin of loading", "2026-11-10 06:00"),
        Moment("planned_end_at", "planned end of unloading", "2026-11-15 10:00"),
        Moment("begin_at", "begin, as it happened or is expected", "2026-11-10 06:30"),
        Moment("end_at", "end, as it happened or is expected", "2026-11-15 12:00"),
        Moment("promised_at", "when it is promised for", "2026-11-16 12:00"),
        Number("late_cost_per_h", "what each hour after that costs", "40", decimals=2, least="0"),
        Number("end_spread_h", "standard deviation of the end in hours", "0", default=0, decimals=1, least="0"),
        *PHASE_COLUMNS,
        Moment("taken_out_at", "when it was taken out of the programme; empty: it is in it", ""),
        Flag("plan_anew", "yes: plan it although a charge of this number was taken out of the programme", "no"),
    )

    def prepare(self, row: Row, load: Load) -> None:
        """Fill in times, lay the phases, and refuse a charge that ends before it starts."""
        _fill_times(row.values)
        refuse_disorder(row.values)
        row.values["phases"] = lay_phases(row.values)
        # A charge that was taken out is no news of a kiln: it is kept as it was.
        if row.values["taken_out_at"] and row.values["taken_out_at"] > clock.now():
            raise CellFault("it was taken out later than now", "Correct the instant.", "taken_out_at")

    def key_of(self, values: Values) -> tuple[Any, ...]:
        """Tell charges that were taken out of the programme from those in it."""
        return (values["kiln"].pk, values["number"], values["taken_out_at"])

    def check(self, rows: list[Row], load: Load) -> list[Row]:
        """Refuse charges of one kiln that overlap, and one that is to begin while somebody is inside."""
        if load.source:
            rows = leave_contested(self, rows, load)
        rows = self._list_taken_out(rows, load)
        taken_out = [row for row in rows if row.values["taken_out_at"]]
        rows = refuse_beginning(self, [row for row in rows if not row.values["taken_out_at"]], load)
        spans: dict[int, list[tuple[Any, Any, str, Row | None]]] = defaultdict(list)
        in_file = {self.key_of(row.values) for row in rows}
        for kiln_id, number, begin_at, end_at in Charge.objects.filter(
            kiln__in={row.values["kiln"].pk for row in rows}
        ).values_list("kiln_id", "number", "begin_at", "end_at"):
            if (kiln_id, number, None) not in in_file:
                spans[kiln_id].append((begin_at, end_at, number, None))
        for row in rows:
            v = row.values
            spans[v["kiln"].pk].append((v["begin_at"], v["end_at"], v["number"], row))
        clashing: set[int] = set()
        for found in spans.values():
            clashing |= self._list_overlaps(sorted(found, key=lambda span: span[:2]), load)
        return sorted([*taken_out, *(row for row in rows if row.number not in clashing)], key=lambda row: row.number)

    def _list_taken_out(self, rows: list[Row], load: Load) -> list[Row]:
        """List rows by which a charge that was taken out would be planned anew, or one in the programme taken out."""
        kilns = {row.values["kiln"].pk for row in rows}
        programme = set(Charge.objects.filter(kiln__in=kilns).values_list("kiln_id", "number"))
        gone: dict[tuple[int, str], set[Any]] = defaultdict(set)
        for kiln_id, number, at in Charge.ever.filter(kiln__in=kilns, taken_out_at__isnull=False).values_list(
            "kiln_id", "number", "taken_out_at"
        ):
            gone[kiln_id, number].add(at)
        in_file = {(row.values["kiln"].pk, row.values["number"]) for row in rows if not row.values["taken_out_at"]}
        sound = []
        for row in rows:
            v = row.values
            place = (v["kiln"].pk, v["number"])
            if v["taken_out_at"]:
                if v["taken_out_at"] not in gone[place] and place in programme - in_file:
                    remedy = "Take it out on its page, where what follows is looked at; or leave the row out."
                    load.fault(self, row, "taken_out_at", "the charge is in the programme", remedy)
                    continue
            elif gone[place] and place not in programme and not v["plan_anew"] and load.taken_out != "anew":
                at = max(gone[place]).astimezone(load.customs.zone)
                reason = f"this charge was taken out of the programme on {at:%Y-%m-%d at %H:%M}"
                load.report.taken_out += 1
                if load.taken_out == "leave":
                    load.warn(self, row, "number", reason, "It stays out; the row changes nothing.")
                else:
                    remedy = "Leave the row out, or write yes into plan_anew to have the charge planned again."
                    load.fault(self, row, "number", f"{reason}: decide what is to be", remedy)
                continue
            sound.append(row)
        return sound

    def _list_overlaps(self, spans: list[tuple[Any, Any, str, Row | None]], load: Load) -> set[int]:
        clashing: set[int] = set()
        zone = load.customs.zone
        latest = spans[0]
        for span in spans[1:]:
            if span[0] < latest[1]:
                # The row to list is the later one, unless it is only the earlier one that the file brings.
                row, other = (span[3], latest) if span[3] else (latest[3], span)
                if row is not None:
                    clashing.add(row.number)
                    place = f"row {other[3].number}" if other[3] else "kept already"
                    load.fault(
                        self,
                        row,
                        "begin_at",
                        f"it overlaps charge {other[2]} of the same kiln ({place}), which lasts from "
                        f"{other[0].astimezone(zone):%Y-%m-%d %H:%M} to {other[1].astimezone(zone):%Y-%m-%d %H:%M}",
                        "A kiln holds one charge at a time: correct begin_at or end_at of one of the two.",
                    )
            if span[1] > latest[1]:
                latest = span
        return clashing

    def existing(self, rows: list[Row], load: Load) -> dict[tuple[Any, ...], Any]:
        """Return the charges of the file's kilns."""
        kept = Charge.ever.filter(kiln__in={row.values["kiln"].pk for row in rows}).select_related("kiln")
        return {(charge.kiln_id, charge.number, charge.taken_out_at): charge for charge in kept}

    def update(self, objects: list[Any], names: list[str]) -> None:
        """Move changed charges far ahead first: on the way to their new places they must not overlap."""
        if {"begin_at", "end_at"} & set(names):
            far = timedelta(days=365 * 400)
            ids = [charge.pk for charge in objects]
            for start in range(0, len(ids), BATCH):
                Charge.ever.filter(pk__in=ids[start : start + BATCH]).update(
                    begin_at=F("begin_at") + far, end_at=F("end_at") + far
                )
            names = sorted({*names, "begin_at", "end_at"})
        Charge.ever.bulk_update(objects, names, batch_size=BATCH)

    def after(self, rows: list[Row], load: Load) -> Iterable[int]:
        """Lay the phases anew where they differ, and tell of charges that have begun against a bar."""
        tell_running(rows)
        kept: dict[int, dict[str, Phase]] = defaultdict(dict)
        for phase in Phase.objects.filter(charge__kiln__in={row.values["kiln"].pk for row in rows}):
            kept[phase.charge_id][phase.kind] = phase
        stale, fresh, touched = [], [], set()
        changed = []
        for row in rows:
            wanted = planned_phases(row.values)
            had = kept.get(row.obj.pk, {})
            if wanted != [_as_laid(had[kind]) for kind, *_ in wanted if kind in had] or len(wanted) != len(had):
                stale += [phase.pk for phase in had.values()]
                fresh += [
                    Phase(charge=row.obj, kind=kind, planned_begin_at=pb, planned_end_at=pe, begin_at=b, end_at=e)
                    for kind, pb, pe, b, e in wanted
                ]
                touched.add(row.number)
                if not row.is_new:
                    before, after = _begins(map(_as_laid, had.values()), load), _begins(wanted, load)
                    differs = [name for name in before if before[name] != after[name]]
                    changed.append(
                        (row, {name: before[name] for name in differs}, {name: after[name] for name in differs})
                    )
        self.tell_changes([one for one in changed if one[1]], load)
        for start in range(0, len(stale), BATCH):
            Phase.objects.filter(pk__in=stale[start : start + BATCH]).delete()
        Phase.objects.bulk_create(fresh, batch_size=BATCH)
        return touched


def _begins(laid: Iterable[tuple[Any, ...]], load: Load) -> dict[str, str]:
    """Return by column when the phases begin, to the minute as somebody reads it; empty for one that is not there."""
    begins = {kind: (begin_at, planned_at) for kind, planned_at, _planned_end_at, begin_at, _end_at in laid}
    return {
        name: as_shown(at, load)
        for kind in KINDS[1:]
        for name, at in zip((f"{kind}_at", f"planned_{kind}_at"), begins.get(kind, (None, None)), strict=True)
    }


def _as_laid(phase: Phase) -> tuple[Any, ...]:
    return (phase.kind, phase.planned_begin_at, phase.planned_end_at, phase.begin_at, phase.end_at)


def _fill_times(values: dict[str, Any]) -> None:
    """Take what is missing of the plan from what happened, and the other way round."""
    begin = values["begin_at"] or values["planned_begin_at"]
    if begin is None:
        raise CellFault("the charge has no begin", "Give planned_begin_at or begin_at.", "planned_begin_at")
    values["begin_at"] = begin
    values["planned_begin_at"] = values["planned_begin_at"] or begin
    if values["planned_end_at"] is None and values["end_at"] is None:
        raise CellFault("the charge has no end", "Give planned_end_at or end_at.", "planned_end_at")
    if values["end_at"] is None:
        values["end_at"] = begin + (values["planned_end_at"] - values["planned_begin_at"])
    if values["planned_end_at"] is None:
        values["planned_end_at"] = values["planned_begin_at"] + (values["end_at"] - begin)
    # What was typed was looked at before; this is for what was filled in.
    for start, end in (("begin_at", "end_at"), ("planned_begin_at", "planned_end_at")):
        if values[end] <= values[start]:
            raise CellFault("the charge ends before it starts", f"Correct {start} or {end}.", end)


class DowntimeTable(Table):
    """Times in which a kiln was down."""

    name = "downtime"
    meaning = (
        "Times in which a kiln could not do all that was asked of it, or had no timber. An empty end means that it "
        "goes on; a record that was closed in the program is not opened again. What no work on the kiln could have "
        "prevented (a power cut, no crew, no heat from the plant) is external, with its cause."
    )
    model = Downtime
    act = "report downtime"
    key = ("kiln", "start_at", "kind")
    spans = (Span("start_at", "end_at", "the downtime ends before it starts"),)
    columns = (
        KILN,
        Choice(
            "kind", "planned, unplanned, external or no_timber", "unplanned", is_required=True, options=Downtime.Kind
        ),
        Moment("start_at", "when it began", "2026-11-12 14:20", is_required=True),
        Moment("end_at", "when it ended; empty: it goes on", "2026-11-12 20:05"),
        Ref("component", "what caused it", "escape-door-1", to="component"),
        Ref("failure_mode", "how it failed (catalogue)", "escape-latch-corroded", to="failure_mode"),
        Moment("announced_at", "when a planned stop was announced", ""),
        Number("share_lost", "share of capacity lost, above 0 up to 1", "1", default=1, above="0", most="1"),
        Text("cause", "cause in a few words", "Latch seized"),
        Moment("expected_end_at", "until when it may last, while it goes on", ""),
        Moment("charge_end_unknown_at", "since when nobody knows the end of the charge that it holds up", ""),
    )

    def prepare(self, row: Row, load: Load) -> None:
        """Refuse an announcement after the begin, no word on what came from outside, a failure mode of another kind."""
        v = row.values
        if v["announced_at"] and v["announced_at"] > v["start_at"]:
            raise CellFault(
                "it was announced after it began", "Correct announced_at, or leave it empty.", "announced_at"
            )
        if v["kind"] == Downtime.Kind.EXTERNAL and not v["cause"].strip():
            raise CellFault("nothing says what came from outside", "Write it down, for instance: power cut.", "cause")
        refuse_other_kind(v)

    def check(self, rows: list[Row], load: Load) -> list[Row]:
        """Refuse a record inside another of the same kiln and kind, and an end while somebody is inside."""
        rows = refuse_ends(self, rows, load)
        groups: dict[tuple[int, str], list[tuple[Any, Any, Row | None, Any, Any]]] = defaultdict(list)
        in_file = {self.key_of(row.values) for row in rows}
        for kept in Downtime.objects.filter(kiln__in={row.values["kiln"].pk for row in rows}):
            if (kept.kiln_id, kept.start_at, kept.kind) not in in_file:
                span = (kept.start_at, kept.end_at, None, kept.share_lost, kept.component_id)
                groups[kept.kiln_id, kept.kind].append(span)
        for row in rows:
            v = row.values
            component = v["component"].pk if v["component"] else None
            groups[v["kiln"].pk, v["kind"]].append((v["start_at"], v["end_at"], row, v["share_lost"], component))
        nested: set[int] = set()
        for spans in groups.values():
            nested |= self._list_nested(spans, load)
        return [row for row in rows if row.number not in nested]

    def _list_nested(self, spans: list[tuple[Any, Any, Row | None, Any, Any]], load: Load) -> set[int]:
        nested: set[int] = set()
        open_spans: list[tuple[Any, Any, Row | None, Any, Any]] = []
        # By start; of two that start together the longer one first, so that it is the outer one.
        for span in sorted(spans, key=lambda s: (s[0], s[1] is not None, -(s[1] or s[0]).timestamp())):
            start, end, row, _, component = span
            open_spans = [outer for outer in open_spans if outer[1] is None or outer[1] > start]
            for outer in open_spans:
                is_inside = outer[1] is None or (end is not None and end <= outer[1])
                # Two slowings of different components may lie inside one another: both take their share.
                if row is not None and is_inside and (outer[3] == 1 or outer[4] == component):
                    place = f"row {outer[2].number}" if outer[2] else "one kept already"
                    load.fault(
                        self,
                        row,
                        "start_at",
                        f"it lies inside another downtime of the same kiln and kind ({place})",
                        "Leave it out, or end the outer one where this one begins.",
                    )
                    nested.add(row.number)
                    break
            open_spans.append(span)
        return nested

    def fields(self, row: Row, load: Load) -> dict[str, Any]:
        """Leave the end alone where the file gives none."""
        fields = super().fields(row, load)
        if fields["end_at"] is None:
            del fields["end_at"]
        return fields
