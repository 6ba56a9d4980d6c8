"""The files of the stock ledger: past moves, and counts of what lies where."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from uuid import NAMESPACE_URL, UUID, uuid5

from inventory.models import Lot, PurchaseOrderLine, Reservation, StockLevel, StockMove
from maintenance.loading.base import BATCH, Load, Row, Table
from maintenance.loading.columns import Choice, Day, Moment, Number, Ref, Text
from maintenance.loading.faults import CellFault, Counts
from maintenance.models import WorkOrder, WorkPart

LEDGER_SPACE = uuid5(NAMESPACE_URL, "kilnward:stock-moves")
ZERO = Decimal(0)
TAKING = (StockMove.Kind.ISSUE, StockMove.Kind.SCRAP)
SIGNED = (StockMove.Kind.COUNT, StockMove.Kind.TRANSFER, StockMove.Kind.UNDONE)

# Part, bin, lot code ("" for none).
Place = tuple[int, int, str]


@dataclass
class Entry:
    """A move that was kept before, or comes from a row of a file."""

    at: datetime
    quantity: Decimal
    row: Row | None = None


def stable_key(*words: object) -> UUID:
    """Return the same key for the same words, so that a second load finds its first one's entries."""
    return uuid5(LEDGER_SPACE, "|".join(str(word) for word in words))


def place_of(values: dict[str, Any]) -> Place:
    """Return where a row's stock lies."""
    return values["part"].pk, values["bin"].pk, values["lot"]


def ledger_of(parts: set[int]) -> dict[Place, list[Entry]]:
    """Return what the ledger holds for some parts, by place."""
    entries: dict[Place, list[Entry]] = defaultdict(list)
    kept = StockMove.objects.filter(part__in=parts).values_list("part_id", "bin_id", "lot__code", "at", "quantity")
    for part_id, bin_id, lot, at, quantity in kept:
        entries[part_id, bin_id, lot or ""].append(Entry(at, quantity))
    return entries


def find_below_zero(entries: dict[Place, list[Entry]]) -> list[tuple[Row, Decimal]]:
    """Return new entries after which a place would hold less than nothing, with what it held before them."""
    found = []
    for moves in entries.values():
        held = ZERO
        # Of moves at the same instant those that add come first.
        for move in sorted(moves, key=lambda entry: (entry.at, -entry.quantity)):
            if move.row is not None and move.quantity < 0 and held + move.quantity < 0:
                found.append((move.row, held))
                continue
            held += move.quantity
    return found


def write_lots(rows: Iterable[Row], load: Load, moment: str) -> dict[tuple[int, str], Lot]:
    """Add lots that are not known, and return all lots of the rows' parts."""
    parts = {row.values["part"].pk for row in rows}
    lots = {(lot.part_id, lot.code): lot for lot in Lot.objects.filter(part__in=parts)}
    new: dict[tuple[int, str], Lot] = {}
    for row in sorted(rows, key=lambda row: row.values[moment]):
        v = row.values
        key = (v["part"].pk, v["lot"])
        if not v["lot"] or key in lots or key in new:
            continue
        received_on: date = v[moment].astimezone(load.customs.zone).date()
        new[key] = Lot(part=v["part"], code=v["lot"], received_on=received_on, expires_on=v["expires_on"])
    Lot.objects.bulk_create(new.values(), batch_size=BATCH)
    return lots | new


def add_to_levels(moves: list[StockMove]) -> None:
    """Carry new moves into the running sums."""
    totals: dict[tuple[int, int, int | None], Decimal] = defaultdict(lambda: ZERO)
    for move in moves:
        totals[move.part_id, move.bin_id, move.lot_id] += move.quantity
    kept = {
        (level.part_id, level.bin_id, level.lot_id): level
        for level in StockLevel.objects.select_for_update().filter(part__in={key[0] for key in totals})
    }
    new, changed = [], []
    for key, quantity in totals.items():
        if key in kept:
            kept[key].on_hand += quantity
            changed.append(kept[key])
        else:
            new.append(StockLevel(part_id=key[0], bin_id=key[1], lot_id=key[2], on_hand=quantity))
    StockLevel.objects.bulk_create(new, batch_size=BATCH)
    StockLevel.objects.bulk_update(changed, ["on_hand"], batch_size=BATCH)


class StockTable(Table):
    """Counts of what lies where."""

    name = "stock"
    meaning = (
        "What was counted in a bin at an instant. The difference to the ledger of that instant is booked as a count; a "
        "count that agrees books nothing."
    )
    model = StockLevel
    act = "move stock"
    key = ("part", "bin", "lot", "counted_at")
    columns = (
        Ref("part", "code of the part", "door-seal-25", is_required=True, to="part"),
        Ref("bin", "the bin; empty: the part's own", "A-01", to="bin"),
        Text("lot", "lot; empty where the part has none", "L2611", largest=40),
        Day("expires_on", "last day on which the lot may be used", "2035-01-31"),
        Number("quantity", "what was counted, in the part's unit", "75", is_required=True, least="0"),
        Moment("counted_at", "when it was counted", "2026-01-05 08:00", is_required=True),
    )

    def prepare(self, row: Row, load: Load) -> None:
        """Take the part's own bin where none is named."""
        row.values["bin"] = row.values["bin"] or row.values["part"].bin

    def write(self, rows: list[Row], load: Load) -> Counts:
        """Book what differs from the ledger, oldest count first."""
        entries = ledger_of({row.values["part"].pk for row in rows})
        lots = write_lots(rows, load, "counted_at")
        moves: list[StockMove] = []
        for row in sorted(rows, key=lambda row: row.values["counted_at"]):
            v = row.values
            moves_there = entries[place_of(v)]
            held = sum((entry.quantity for entry in moves_there if entry.at <= v["counted_at"]), ZERO)
            if difference := v["quantity"] - held:
                moves_there.append(Entry(v["counted_at"], difference, row))
                moves.append(
                    StockMove(
                        key=stable_key(
                            "count", v["part"].code, v["bin"].code, v["lot"], v["counted_at"], held, difference
                        ),
                        part=v["part"],
                        bin=v["bin"],
                        lot=lots.get((v["part"].pk, v["lot"])),
                        kind=StockMove.Kind.COUNT,
                        quantity=difference,
                        at=v["counted_at"],
                        reason="counted (from a file)",
                    )
                )
        faulty = self._refuse_below_zero(entries, load)
        if faulty:
            return Counts()
        StockMove.objects.bulk_create(moves, batch_size=BATCH)
        add_to_levels(moves)
        return Counts(new=len(moves), unchanged=len(rows) - len(moves))

    def _refuse_below_zero(self, entries: dict[Place, list[Entry]], load: Load) -> bool:
        """A lower count in the past can take what a later issue has used."""
        found = [(entry, place, entry.row) for place, moves in entries.items() for entry in moves if entry.row]
        is_faulty = False
        for entry, place, row in found:
            if entry.quantity < 0 and sum((move.quantity for move in entries[place]), ZERO) < 0:
                load.fault(
                    self,
                    row,
                    "quantity",
                    "with this count later issues would have taken more than there was",
                    "Correct the quantity, or give the instant at which it was counted.",
                )
                is_faulty = True
        return is_faulty


class StockMoveTable(Table):
    """The past ledger."""

    name = "stock_moves"
    meaning = (
        "Past moves of the stock ledger. Known moves stay as they are; two rows alike in every cell are two moves. "
        "What is taken for a work order is its planned need if it came from a recurring task."
    )
    model = StockMove
    act = "move stock"
    key = ()
    columns = (
        Moment("at", "when", "2026-10-12 09:15", is_required=True),
        Ref("part", "code of the part", "door-seal-25", is_required=True, to="part"),
        Ref("bin", "the bin; empty: the part's own", "A-01", to="bin"),
        Text("lot", "lot; empty where the part has none", "L2611", largest=40),
        Day("expires_on", "last day on which the lot may be used (for a receipt)", ""),
        Choice(
            "kind",
            "receipt, issue, return, count, scrap, transfer, or undone: a wrong booking taken back",
            "issue",
            is_required=True,
            options=StockMove.Kind,
        ),
        Number(
            "quantity",
            "how much, above 0; for a count, a transfer or what is undone what it adds, below 0 if it takes",
            "22",
            is_required=True,
        ),
        Text("reason", "why", "torn off by a fork lift", largest=160),
        Ref("order", "number of the order that a receipt belongs to", "", to="order"),
        Ref("work_order", "number of the past work it was taken for", "", to="work_order"),
        Moment("takes_back_at", "for undone: when what it takes back was booked, in the same bin and lot", ""),
        Ref("by", "who; empty: not known", "", to="person"),
    )

    def prepare(self, row: Row, load: Load) -> None:
        """Give the quantity the ledger's sign."""
        v = row.values
        v["bin"] = v["bin"] or v["part"].bin
        if v["quantity"] == 0:
            raise CellFault("a move of nothing", "Leave the row out.", "quantity")
        if v["quantity"] < 0 and v["kind"] not in SIGNED:
            raise CellFault("below zero", f"Write how much as a figure above 0; {v['kind']} says the rest.", "quantity")
        if v["kind"] in TAKING:
            v["quantity"] = -v["quantity"]
        if (v["kind"] == StockMove.Kind.UNDONE) != bool(v["takes_back_at"]):
            raise CellFault(
                "only what is undone names a booking, and always",
                "Write when that was booked, or leave both out.",
                "takes_back_at",
            )
        if v["order"] and v["kind"] not in (StockMove.Kind.RECEIPT, StockMove.Kind.UNDONE):
            raise CellFault("only a receipt belongs to an order", "Leave the order empty.", "order")

    def write(self, rows: list[Row], load: Load) -> Counts:
        """Add moves that are not known, none of which may take more than there was."""
        keys, new = self._keys_and_new(rows)
        entries = ledger_of({row.values["part"].pk for row in new})
        for row in new:
            entries[place_of(row.values)].append(Entry(row.values["at"], row.values["quantity"], row))
        if self._refuse_below_zero(entries, load):
            return Counts()
        lots = write_lots(new, load, "at")
        lines = {(line.order_id, line.part_id): line for line in PurchaseOrderLine.objects.all()}
        reservations = self._write_reservations(new, load)
        moves = []
        for row in new:
            v = row.values
            line = lines.get((v["order"].pk, v["part"].pk)) if v["order"] else None
            if v["order"] and line is None:
                load.fault(self, row, "order", f"order {v['order'].number} has no line for this part", "Correct one.")
                continue
            if line is not None:
                line.received += v["quantity"]
            taken_for = reservations.get((v["work_order"].number, v["part"].pk)) if v["work_order"] else None
            moves.append(
                StockMove(
                    key=keys[row.number],
                    part=v["part"],
                    bin=v["bin"],
                    lot=lots.get((v["part"].pk, v["lot"])),
                    kind=v["kind"],
                    quantity=v["quantity"],
                    at=v["at"],
                    reason=v["reason"],
                    by=getattr(v["by"], "user", None),
                    order_line=line,
                    reservation=taken_for,
                )
            )
        if not self._write_moves(moves, new, keys, load):
            return Counts()
        PurchaseOrderLine.objects.bulk_update(
            [line for line in lines.values() if line.received], ["received"], batch_size=BATCH
        )
        add_to_levels(moves)
        return Counts(new=len(new), unchanged=len(rows) - len(new))

    def _write_moves(self, moves: list[StockMove], new: list[Row], keys: dict[int, UUID], load: Load) -> bool:
        """Keep moves, and after them those that take one back; False where one takes back what nobody booked."""
        undone = [move for move in moves if move.kind == StockMove.Kind.UNDONE]
        others = [move for move in moves if move.kind != StockMove.Kind.UNDONE]
        StockMove.objects.bulk_create(others, batch_size=BATCH)
        standing: dict[tuple[Any, ...], list[StockMove]] = defaultdict(list)
        for move in StockMove.objects.that_stand().filter(part__in={move.part_id for move in undone}):
            standing[move.part_id, move.bin_id, move.lot_id, move.at, move.quantity].append(move)
        rows = {keys[row.number]: row for row in new}
        is_whole = True
        for move in undone:
            row = rows[move.key]
            found = standing[move.part_id, move.bin_id, move.lot_id, row.values["takes_back_at"], -move.quantity]
            if found:
                move.takes_back = found.pop(0)
            else:
                load.fault(self, row, "takes_back_at", "no such booking to take back", "Add it, or correct when.")
                is_whole = False
        if is_whole:
            StockMove.objects.bulk_create(undone, batch_size=BATCH)
        return is_whole

    def _keys_and_new(self, rows: list[Row]) -> tuple[dict[int, UUID], list[Row]]:
        """Number rows that are alike, so that each has a key of its own that stays the same; return the new ones too.

        Of rows alike as many are known as the ledger has moves that say the same, whoever booked them.
        """
        told = ("at", "part__code", "bin__code", "lot__code", "kind", "quantity", "reason")
        kept = StockMove.objects.filter(part__in={row.values["part"].pk for row in rows}).values_list(*told)
        known = Counter((at, part, place, lot or "", *rest) for at, part, place, lot, *rest in kept)
        alike: dict[tuple[Any, ...], int] = defaultdict(int)
        keys, new = {}, []
        for row in rows:
            v = row.values
            words = (v["at"], v["part"].code, v["bin"].code, v["lot"], v["kind"], v["quantity"], v["reason"])
            alike[words] += 1
            keys[row.number] = stable_key("move", *words, alike[words])
            if alike[words] > known[words]:
                new.append(row)
        return keys, new

    def _refuse_below_zero(self, entries: dict[Place, list[Entry]], load: Load) -> bool:
        found = find_below_zero(entries)
        for row, held in found:
            part, place, taken = row.values["part"], row.values["bin"], -row.values["quantity"].normalize()
            load.fault(
                self,
                row,
                "quantity",
                f"{taken:f} {part.unit} taken, but only {held.normalize():f} lay in {place.code}",
                "Add the receipt or the opening count that came before, or correct quantity, bin or lot.",
            )
        return bool(found)

    def _write_reservations(self, rows: list[Row], load: Load) -> dict[tuple[str, int], Reservation]:
        """Keep what past work took as its own, used-up reservation, so that it is not counted as random use."""
        totals: dict[tuple[str, int], list[Row]] = defaultdict(list)
        for row in rows:
            if row.values["work_order"] and row.values["kind"] == StockMove.Kind.ISSUE:
                totals[row.values["work_order"].number, row.values["part"].pk].append(row)
        kept = {(r.source, r.part_id): r for r in Reservation.objects.filter(source__in={key[0] for key in totals})}
        new: dict[tuple[str, int], Reservation] = {}
        work_parts = []
        for key, found in totals.items():
            if key in kept:
                continue
            first = found[0].values
            order, part, at = first["work_order"], first["part"], first["at"]
            quantity = -sum((row.values["quantity"] for row in found), ZERO)
            new[key] = Reservation(
                part=part,
                quantity=quantity,
                used=quantity,
                needed_on=at.astimezone(load.customs.zone).date(),
                source=order.number,
                purpose=f"{order.kiln.tag}: {order.title}"[:160],
                is_planned=order.origin == WorkOrder.Origin.STANDING_TASK,
                created_at=at,
                closed_at=at,
            )
            work_parts.append(WorkPart(work_order=order, part=part, quantity=quantity, reservation=new[key]))
        Reservation.objects.bulk_create(new.values(), batch_size=BATCH)
        WorkPart.objects.bulk_create(work_parts, batch_size=BATCH)
        return kept | new
