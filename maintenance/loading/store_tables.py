"""The files of the stores: suppliers, bins, parts, terms, orders."""

from collections.abc import Mapping
from typing import Any, ClassVar

from inventory.models import Bin, Part, PurchaseOrder, PurchaseOrderLine, Supplier, SupplierTerms
from maintenance.loading.base import BATCH, Load, Row, Table, raise_series
from maintenance.loading.columns import Choice, Code, Day, Email, Flag, Moment, Number, Ref, Refs, Text, Whole
from maintenance.loading.faults import Counts
from plant.basics.sentences import typed


class SupplierTable(Table):
    """Suppliers."""

    name = "suppliers"
    meaning = "Who delivers parts."
    model = Supplier
    act = "edit parts"
    key = ("code",)
    kind = "supplier"
    columns = (
        Code("code", "short name", "seals", is_required=True),
        Text("name", "name", "Example Seals", is_required=True, largest=120),
        Email("email", "e-mail", "orders@seals.example"),
        Text("phone", "telephone", "", largest=40),
    )


class BinTable(Table):
    """Bins."""

    name = "bins"
    meaning = "Bins of the stores."
    model = Bin
    act = "edit parts"
    key = ("code",)
    kind = "bin"
    columns = (
        Text("code", "what stands on the bin", "A-01", is_required=True, largest=20),
        Text("place", "where it is", "Stores, left wall", largest=80),
    )


class PartTable(Table):
    """Parts."""

    name = "parts"
    meaning = "Parts that the mill keeps."
    model = Part
    act = "edit parts"
    key = ("code",)
    kind = "part"
    links: ClassVar[Mapping[str, str]] = {"fits": "componentkind_id"}
    columns = (
        Code("code", "code", "door-seal-25", is_required=True, largest=40),
        Text("name", "name", "Door seal profile 25 mm", is_required=True, largest=120),
        Ref("kind", "what task sheets of the catalogue call it", "door-seal-profile", to="part_kind"),
        Text("unit", "unit it is counted in", "m", default="piece", largest=12),
        Choice(
            "criticality",
            "without it: stops, slows or waits",
            "slows",
            default=Part.Criticality.WAITS.value,
            options=Part.Criticality,
        ),
        Whole("shelf_life_days", "shelf life in days; empty: it keeps", "3652"),
        Ref("bin", "its bin", "A-01", is_required=True, to="bin"),
        Refs("fits", "kinds of component it fits; semicolons between", "door-seal", to="component_kind"),
        Flag("is_active", "still kept?", "yes", default=True),
        Moment("since_at", "since when it is on record; empty: from now on", ""),
    )

    def fields(self, row: Row, load: Load) -> dict[str, Any]:
        """Leave alone since when it is on record where the file does not say."""
        fields = super().fields(row, load)
        if fields["since_at"] is None:
            del fields["since_at"]
        return fields


class TermsTable(Table):
    """Suppliers' terms."""

    name = "terms"
    meaning = "On what terms a supplier delivers a part; a part's first row is the preferred one unless a row says so."
    model = SupplierTerms
    act = "edit parts"
    key = ("part", "supplier")
    columns = (
        Ref("part", "code of the part", "door-seal-25", is_required=True, to="part"),
        Ref("supplier", "code of the supplier", "seals", is_required=True, to="supplier"),
        Number("lead_time_days", "lead time in days", "14", is_required=True, decimals=1, least="0", most="3650"),
        Number("lead_time_sd_days", "spread of the lead time in days", "3", default=0, decimals=1, least="0"),
        Number("pack_size", "pack size", "25", default=1, above="0"),
        Number("least_order", "least order", "25", default=1, least="0"),
        Number("unit_price", "price per unit", "6.40", is_required=True, decimals=2, least="0"),
        Flag("is_preferred", "preferred?", "yes", default=None),
    )

    def check(self, rows: list[Row], load: Load) -> list[Row]:
        """Give every part one preferred supplier."""
        groups: dict[int, list[Row]] = {}
        for row in rows:
            groups.setdefault(row.values["part"].pk, []).append(row)
        doubled: set[int] = set()
        for group in groups.values():
            chosen = [row for row in group if row.values["is_preferred"]]
            for row in chosen[1:]:
                load.fault(
                    self, row, "is_preferred", f"row {chosen[0].number} is preferred for the same part", "Keep one."
                )
                doubled.add(row.number)
            best = chosen[0] if chosen else next((row for row in group if row.values["is_preferred"] is None), None)
            for row in group:
                row.values["is_preferred"] = row is best
        return [row for row in rows if row.number not in doubled]

    def write(self, rows: list[Row], load: Load) -> Counts:
        """Take the preference from others first: a part has one preferred supplier at any time."""
        best = {row.values["part"].pk: row.values["supplier"].pk for row in rows if row.values["is_preferred"]}
        stale = [
            terms.pk
            for terms in SupplierTerms.objects.filter(is_preferred=True)
            if best.get(terms.part_id, terms.supplier_id) != terms.supplier_id
        ]
        SupplierTerms.objects.filter(pk__in=stale).update(is_preferred=False)
        return super().write(rows, load)


class OrderTable(Table):
    """Purchase orders."""

    name = "orders"
    meaning = (
        "Purchase orders, a row for each line; the order's own columns are the same in each of its rows. What has "
        "arrived is the sum of its receipts in stock_moves. A known order stays as it is."
    )
    model = PurchaseOrder
    act = "draw up orders"
    key = ("number", "part")
    kind = "order"
    is_record = True
    columns = (
        Text("number", "number of the order", "PO-0001", is_required=True, largest=20),
        Ref("supplier", "code of the supplier", "seals", is_required=True, to="supplier"),
        Choice(
            "state",
            "drawn_up, sent, part_arrived, arrived or withdrawn",
            "sent",
            is_required=True,
            options=PurchaseOrder.State,
        ),
        Moment("drawn_up_at", "when it was drawn up", "2026-11-02 09:00", is_required=True),
        Moment("sent_at", "when it was sent", "2026-11-02 09:30"),
        Day("promised_on", "promised for", "2026-11-16"),
        Ref("part", "code of the part", "door-seal-25", is_required=True, to="part"),
        Number("quantity", "quantity ordered", "50", is_required=True, above="0"),
        Number("unit_price", "price per unit", "6.40", is_required=True, decimals=2, least="0"),
        Text("reason", "why", "", largest=10_000),
    )

    def code_text(self, text: Any) -> str:
        """Return the order's number."""
        return str(text.get("number", ""))

    def write(self, rows: list[Row], load: Load) -> Counts:
        """Write orders that are not known yet, with their lines."""
        counts, known = Counts(), set(load.index("order"))
        orders: dict[str, PurchaseOrder] = {}
        lines = []
        for row in rows:
            v = row.values
            if v["number"] in known:
                counts.unchanged += 1
                continue
            if v["number"] not in orders:
                orders[v["number"]] = PurchaseOrder(
                    **{
                        name: v[name]
                        for name in ("number", "supplier", "state", "drawn_up_at", "sent_at", "promised_on")
                    }
                )
            lines.append((v["number"], v))
            counts.new += 1
        PurchaseOrder.objects.bulk_create(orders.values(), batch_size=BATCH)
        PurchaseOrderLine.objects.bulk_create(
            [
                PurchaseOrderLine(
                    order=orders[number],
                    part=v["part"],
                    quantity=v["quantity"],
                    unit_price=v["unit_price"],
                    reason=typed(v["reason"]),
                )
                for number, v in lines
            ],
            batch_size=BATCH,
        )
        load.forget("order")
        raise_series("purchase order", "PO-", orders)
        return counts
