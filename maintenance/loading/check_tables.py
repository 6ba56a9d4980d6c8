"""The files of function checks and their findings."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import timedelta
from typing import Any

from maintenance.checks.check_points import items_for
from maintenance.loading.base import BATCH, KILN, Load, Row, Span, Table, raise_series, refuse_other_kind
from maintenance.loading.columns import Choice, Flag, Moment, Ref, Text
from maintenance.loading.faults import CellFault, Counts
from maintenance.loading.stock_tables import stable_key
from maintenance.models import CheckItem, CheckPoint, Finding, FunctionCheck, Sitting

# A sitting ends a little after its last finding.
AFTER_LAST = timedelta(minutes=5)


class FunctionCheckTable(Table):
    """Function checks."""

    name = "function_checks"
    meaning = (
        "Past function checks and those under way. The points come from the catalogue and the kiln's components; their "
        "findings stand in check_findings. A known check stays as it is."
    )
    model = FunctionCheck
    act = "do rounds"
    key = ("number",)
    kind = "check"
    spans = (Span("started_at", "completed_at", "completed before it started", may_be_empty=True),)
    is_record = True
    columns = (
        Text("number", "number of the check", "FC-0001", is_required=True, largest=20),
        KILN,
        Moment("started_at", "when it was started", "2026-11-20 09:00", is_required=True),
        Ref("started_by", "who started it", "anna", to="person"),
        Moment("completed_at", "when it was completed; empty: under way", ""),
        Moment("withdrawn_at", "when it was withdrawn", ""),
        Text("withdrawn_why", "why it was withdrawn", ""),
    )

    def check(self, rows: list[Row], load: Load) -> list[Row]:
        """Keep one check under way to a kiln."""
        under_way = {check.kiln_id: check.number for check in FunctionCheck.objects.under_way()}
        sound = []
        for row in rows:
            v = row.values
            is_open = v["completed_at"] is None and v["withdrawn_at"] is None
            if is_open and v["number"] not in load.index("check"):
                other = under_way.setdefault(v["kiln"].pk, v["number"])
                if other != v["number"]:
                    load.fault(self, row, "completed_at", f"{other} is under way in this kiln", "Complete one of them.")
                    continue
            sound.append(row)
        return sound

    def fields(self, row: Row, load: Load) -> dict[str, Any]:
        """Let the starter's sign-in stand for the starter."""
        return super().fields(row, load) | {"started_by": getattr(row.values["started_by"], "user", None)}

    def after(self, rows: list[Row], load: Load) -> Iterable[int]:
        """Lay out the points of new checks."""
        laid = set(CheckItem.objects.values_list("check_up_id", flat=True))
        told = (
            {text.get("check", "") for _, text in load.sheets["check_items"].rows}
            if "check_items" in load.sheets
            else set()
        )
        new = [row.obj for row in rows if row.obj.pk not in laid and row.obj.number not in told]
        items = [item for check in new for item in items_for(check)]
        CheckItem.objects.bulk_create(items, batch_size=BATCH)
        raise_series("function check", "FC-", (row.obj.number for row in rows))
        return ()


class CheckItemTable(Table):
    """Points that a check looks at."""

    name = "check_items"
    meaning = (
        "What a function check looks at, where that is known. A check without rows here looks at what the catalogue "
        "and the kiln's components of today say."
    )
    model = CheckItem
    act = "do rounds"
    key = ("check", "point", "component")
    is_record = True
    columns = (
        Ref("check", "number of the check", "FC-0001", is_required=True, to="check"),
        Ref("point", "code of the check point (catalogue)", "escape-latch-inside", is_required=True, to="check_point"),
        Ref("component", "tag of the component; empty: the kiln", "escape-door-1", to="component"),
        Flag("is_substitute", "does it stand in for a point that could not be seen?", "no", default=False),
    )

    def existing(self, rows: list[Row], load: Load) -> dict[tuple[Any, ...], Any]:
        """Return the points of the file's checks."""
        kept = CheckItem.objects.filter(check_up__in={row.values["check"].pk for row in rows})
        return {(item.check_up_id, item.point_id, item.component_id): item for item in kept}

    def fields(self, row: Row, load: Load) -> dict[str, Any]:
        """Name the check as the model does."""
        return super().fields(row, load) | {"check_up": row.values["check"]}


class CheckFindingTable(Table):
    """Findings."""

    name = "check_findings"
    meaning = (
        "What was found at each point of a function check. Findings of one person in one state of the kiln on one day "
        "are one sitting. What was found is only added to; enter the defect itself in defects."
    )
    model = Finding
    act = "do rounds"
    key = ("check", "point", "component", "at")
    columns = (
        Ref("check", "number of the check", "FC-0001", is_required=True, to="check"),
        Ref("point", "code of the check point (catalogue)", "escape-latch-inside", is_required=True, to="check_point"),
        Ref("component", "tag of the component; empty: the kiln", "escape-door-1", to="component"),
        Choice("kiln_state", "running or open_empty", "open_empty", is_required=True, options=CheckPoint.SeenIn),
        Choice("result", "sound, worn, defect or not_seen", "sound", is_required=True, options=Finding.Result),
        Ref("failure_mode", "how it fails (catalogue)", "", to="failure_mode"),
        Text("reason", "why it could not be seen", ""),
        Text("note", "note", "", largest=10_000),
        Moment("at", "when", "2026-11-20 10:30", is_required=True),
        Ref("by", "who; empty: somebody who is not on record", "anna", to="person"),
    )

    def prepare(self, row: Row, load: Load) -> None:
        """Check what belongs together."""
        v = row.values
        if v["kiln_state"] == CheckPoint.SeenIn.EITHER:
            raise CellFault("the kiln was in one state", "Write running or open_empty.", "kiln_state")
        if v["point"].seen_in not in (CheckPoint.SeenIn.EITHER, v["kiln_state"]):
            raise CellFault(
                f"this point is looked at with the kiln {v['point'].get_seen_in_display()}",
                "Correct the state or the point.",
                "kiln_state",
            )
        if v["result"] == Finding.Result.NOT_SEEN and not v["reason"]:
            raise CellFault("the reason is missing", "Say why it could not be seen.", "reason")
        refuse_other_kind(v)

    def write(self, rows: list[Row], load: Load) -> Counts:
        """Add findings that are not known, in sittings."""
        # By what they say and not by their key alone: those that were entered on a page have keys of their own.
        places = ("item__check_up_id", "item__point_id", "item__component_id", "at")
        known = set(Finding.objects.values_list(*places))
        keys = {row.number: self._key(row.values) for row in rows}
        new = [row for row in rows if self.key_of(row.values) not in known]
        checks = {row.values["check"].pk for row in new}
        items = {
            (item.check_up_id, item.point_id, item.component_id): item
            for item in CheckItem.objects.filter(check_up__in=checks)
        }
        sittings = self._sittings(new, load)
        findings = []
        for row in new:
            v = row.values
            item = items.get((v["check"].pk, v["point"].pk, v["component"].pk if v["component"] else None))
            if item is None:
                load.fault(
                    self,
                    row,
                    "point",
                    f"check {v['check'].number} has no such point" + (" on this component" if v["component"] else ""),
                    "Correct point or component; points of single components need their tag.",
                )
                continue
            findings.append(
                Finding(
                    key=keys[row.number],
                    item=item,
                    sitting=sittings[self._sitting_key(v, load)],
                    by=getattr(v["by"], "user", None),
                    **{name: v[name] for name in ("result", "failure_mode", "reason", "note", "at")},
                )
            )
        Finding.objects.bulk_create(findings, batch_size=BATCH)
        self._refuse_gaps(new, load)
        return Counts(new=len(findings), unchanged=len(rows) - len(new))

    def _key(self, v: dict[str, Any]) -> Any:
        component = v["component"].tag if v["component"] else ""
        return stable_key("finding", v["check"].number, v["point"].code, component, v["at"])

    def _sitting_key(self, v: dict[str, Any], load: Load) -> tuple[Any, ...]:
        by = v["by"].pk if v["by"] else None
        return v["check"].pk, by, v["kiln_state"], v["at"].astimezone(load.customs.zone).date()

    def _sittings(self, rows: list[Row], load: Load) -> dict[tuple[Any, ...], Sitting]:
        groups: dict[tuple[Any, ...], list[Row]] = defaultdict(list)
        for row in rows:
            groups[self._sitting_key(row.values, load)].append(row)
        sittings = {}
        for key, group in groups.items():
            instants = sorted(row.values["at"] for row in group)
            first = group[0].values
            sittings[key] = Sitting(
                check_up=first["check"],
                kiln_state=first["kiln_state"],
                started_at=instants[0] - AFTER_LAST,
                ended_at=instants[-1] + AFTER_LAST,
                by=getattr(first["by"], "user", None),
            )
        Sitting.objects.bulk_create(sittings.values(), batch_size=BATCH)
        return sittings

    def _refuse_gaps(self, rows: list[Row], load: Load) -> None:
        """A completed check has a finding at every point."""
        completed = {row.values["check"].pk: row for row in rows if row.values["check"].completed_at}
        left: dict[int, list[str]] = defaultdict(list)
        for item in CheckItem.objects.filter(check_up__in=completed, findings__isnull=True).select_related("point"):
            left[item.check_up_id].append(item.point.code)
        for pk, points in left.items():
            load.fault(
                self,
                completed[pk],
                "check",
                f"the check is completed but {len(points)} of its points have no finding, for example {points[0]}",
                "Add the missing findings, or leave completed_at empty.",
            )
