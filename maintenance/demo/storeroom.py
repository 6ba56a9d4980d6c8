"""The stores' past: what was taken, ordered and received, so that no bin ever held less than nothing."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from math import ceil

from maintenance.demo.upkeep import WORK_DAYS, Work
from maintenance.demo.world import (
    HOUR,
    UPKEEP_HOURS,
    ZONE,
    Row,
    World,
    last_slot,
    next_slot,
    read_catalogue,
    read_static,
)

# The storekeeper looks through the bins on Mondays; not in the last days, so that there is something to order.
REVIEW_WEEKDAY, LAST_REVIEW_DAYS = 0, 1
# How many times the expected use until the next delivery is kept on the shelf.
COVER = 2.6
# So many more lie there, by what the kiln does without the part.
SPARE = {"stops": 5, "slows": 2, "waits": 1}
# Of what costs more than this only so many are kept as are used until the next one comes.
DEAR, DEAR_COVER = 100, 1.3
PLANNED_MONTHS = WORK_DAYS / 30.44
REASONS = (
    "torn off by a fork lift",
    "taken for a small repair",
    "found broken at the round",
    "dropped and cracked",
    "for the workshop",
)
# Parts whose story is told by hand: part -> quantity on order, days from the demo's day on which that was sent and
# on which it was promised (no promise: it waits to be sent; no order: nobody has thought of it). One is late.
TOLD: dict[str, tuple[float, int, int | None] | None] = {
    "valve-kit-40": (2, -34, -4),
    "bearing-6206": (8, -1, 1),
    "seal-numbered": (100, -1, None),
    "trap-kit-15": None,
}
# Of these so much is left on the shelf: the rest turned out to be of no use.
LEFT = {
    "valve-kit-40": (0.0, "Seats of the wrong size in the bag"),
    "bearing-6206": (2.0, "Rust on the races: the bag was open"),
    "trap-kit-15": (0.0, "Gaskets hard and cracked"),
}
# Of these a new sack stood behind the door.
AT_LEAST = {"softener-salt-25": 50.0}
# Their orders of the last weeks are those told by hand.
NO_REVIEW_DAYS = 75
# Lots that are past their date, or soon will be: part -> days from the demo's day.
EXPIRES = {"mould-wash-5": -12, "threshold-seal": 18}


@dataclass
class Left:
    """What is left of a lot."""

    lot: str
    quantity: float


@dataclass
class Stock:
    """A part with what is left of each of its lots, oldest first."""

    part: Row
    terms: Row
    lots: list[Left] = field(default_factory=list)
    on_order: float = 0.0
    a_month: float = 0.0

    @property
    def held(self) -> float:
        """Return what lies in all lots."""
        return sum(left.quantity for left in self.lots)


@dataclass(frozen=True)
class Need:
    """Something taken from the shelf."""

    at: datetime
    part: str
    quantity: float
    reason: str = ""
    work_order: str = ""


class Storeroom:
    """Runs the stores day by day."""

    def __init__(self, world: World, work: list[Work]) -> None:
        self.world = world
        terms = {row["part"]: row for row in read_static("terms") if row["is_preferred"] == "yes"}
        self.stocks = {row["code"]: Stock(row, terms[row["code"]]) for row in read_static("parts")}
        self.moves: list[Row] = []
        self.counts: list[Row] = []
        self.orders: list[Row] = []
        self._arrivals: dict[date, list[tuple[str, str, float]]] = defaultdict(list)
        needs = sorted([*self._planned(work), *self._random()], key=lambda need: (need.at, need.part, need.work_order))
        self._run(needs)
        self._hand_told()

    def _planned(self, work: list[Work]) -> Iterable[Need]:
        """What task sheets used up, taken an hour before."""
        by_kind: dict[str, str] = {}
        for stock in self.stocks.values():
            by_kind.setdefault(stock.part["kind"], stock.part["code"])
        wanted: dict[str, list[tuple[str, float]]] = defaultdict(list)
        for row in read_catalogue("task_parts"):
            wanted[row["sheet"]].append((by_kind[row["part_kind"]], float(row["quantity"])))
        for done in work:
            for part, quantity in (*wanted[done.sheet], *done.parts):
                yield Need(done.row["started_at"] - HOUR / 4, part, quantity, work_order=done.number)

    def _random(self) -> Iterable[Need]:
        """What nobody planned: seldom for dear parts, often for cheap ones."""
        for code, stock in self.stocks.items():
            dice = self.world.dice("use", code)
            price = float(stock.terms["unit_price"])
            a_month = min(1.6, 2.4 / (1 + price) ** 0.55) * dice.uniform(0.6, 1.3)
            least = max(1.0, round(float(stock.terms["pack_size"]) * 0.08))
            stock.a_month = a_month * least
            at = self.world.start + timedelta(days=2)
            while True:
                at += timedelta(days=dice.expovariate(a_month) * 30.44)
                if at > self.world.now - timedelta(days=1):
                    break
                quantity = least * dice.choice((1, 1, 1, 2))
                yield Need(next_slot(at, 1, UPKEEP_HOURS), code, quantity, dice.choice(REASONS))

    def _run(self, needs: list[Need]) -> None:
        for need in needs:
            self.stocks[need.part].a_month += need.quantity / PLANNED_MONTHS if need.work_order else 0
        used = {code: sum(need.quantity for need in needs if need.part == code) for code in EXPIRES}
        for stock in self.stocks.values():
            self._open(stock, used.get(stock.part["code"], 0.0))
        by_day: dict[date, list[Need]] = defaultdict(list)
        for need in needs:
            by_day[need.at.astimezone(ZONE).date()].append(need)
        day = self.world.start.astimezone(ZONE).date() + timedelta(days=1)
        while day < self.world.day:
            self._receive(day)
            for need in by_day[day]:
                self._take(need)
            if day.weekday() == REVIEW_WEEKDAY and day < self.world.day - timedelta(days=LAST_REVIEW_DAYS):
                self._review(day)
            day += timedelta(days=1)

    def _open(self, stock: Stock, will_be_used: float) -> None:
        """The first count, with its lot where the part does not keep for ever."""
        quantity = float(ceil(self._point(stock) * 1.2 + self._typical(stock) + will_be_used))
        lot, expires = self._new_lot(stock, self.world.start.astimezone(ZONE).date(), "A")
        if stock.part["code"] in EXPIRES:
            expires = self.world.day + timedelta(days=EXPIRES[stock.part["code"]])
        stock.lots.append(Left(lot, quantity))
        self.counts.append(
            {
                "part": stock.part["code"],
                "bin": stock.part["bin"],
                "lot": lot,
                "expires_on": expires,
                "quantity": quantity,
                "counted_at": self.world.start,
            }
        )

    def _new_lot(self, stock: Stock, day: date, mark: str) -> tuple[str, date | None]:
        life = stock.part["shelf_life_days"]
        if not life:
            return "", None
        dice = self.world.dice("lot", stock.part["code"], day.isoformat())
        return f"{day:%y%m%d}{mark}", day + timedelta(days=round(int(life) * dice.uniform(0.86, 1.0)))

    def _is_dear(self, stock: Stock) -> bool:
        return float(stock.terms["unit_price"]) > DEAR

    def _typical(self, stock: Stock) -> float:
        if self._is_dear(stock):
            return 1.0
        return max(1.0, 1.5 * stock.a_month)

    def _point(self, stock: Stock) -> int:
        expected = stock.a_month * (float(stock.terms["lead_time_days"]) / 30.44 + 0.5)
        if self._is_dear(stock):
            return ceil(expected * DEAR_COVER) + (3 if stock.part["criticality"] == "stops" else 0)
        least = ceil(float(stock.terms["pack_size"]) * 0.05)
        return ceil(expected * COVER) + SPARE[stock.part["criticality"]] + least

    def _receive(self, day: date) -> None:
        for order, part, quantity in self._arrivals.pop(day, []):
            stock = self.stocks[part]
            lot, expires = self._new_lot(stock, day, "R")
            stock.lots.append(Left(lot, quantity))
            stock.on_order -= quantity
            at = datetime.combine(day, datetime.min.time(), tzinfo=ZONE) + 6.5 * HOUR
            self.moves.append(self._move(at, stock, lot, "receipt", quantity) | {"order": order, "expires_on": expires})

    def _take(self, need: Need) -> None:
        """Take from the oldest lot first; where too little lies there, the shelf had been counted short before."""
        stock = self.stocks[need.part]
        if stock.held < need.quantity:
            self._count_more(stock, need.quantity - stock.held, need.at)
        missing = need.quantity
        for left in stock.lots:
            taken = round(min(missing, left.quantity), 3)
            if taken > 0:
                left.quantity = round(left.quantity - taken, 3)
                missing = round(missing - taken, 3)
                row = self._move(need.at, stock, left.lot, "issue", taken)
                self.moves.append(row | {"reason": need.reason, "work_order": need.work_order})
        stock.lots = [left for left in stock.lots if left.quantity > 0]

    def _count_more(self, stock: Stock, missing: float, at: datetime) -> None:
        quantity = float(ceil(missing + self._typical(stock)))
        day = at.astimezone(ZONE).date()
        lot, expires = self._new_lot(stock, day, "C")
        stock.lots.append(Left(lot, quantity))
        row = self._move(at - HOUR, stock, lot, "count", quantity)
        self.moves.append(row | {"reason": "found more than the book said", "expires_on": expires})

    def _move(self, at: datetime, stock: Stock, lot: str, kind: str, quantity: float) -> Row:
        code, place = stock.part["code"], stock.part["bin"]
        return {"at": at, "part": code, "bin": place, "lot": lot, "kind": kind, "quantity": quantity}

    def _review(self, day: date) -> None:
        """Order what has fallen to its point, one order to a supplier."""
        wanted: dict[str, list[tuple[Stock, float]]] = defaultdict(list)
        for stock in self.stocks.values():
            if stock.part["code"] in TOLD and day > self.world.day - timedelta(days=NO_REVIEW_DAYS):
                continue
            point = self._point(stock)
            if stock.held + stock.on_order <= point:
                pack, least = float(stock.terms["pack_size"]), float(stock.terms["least_order"])
                aim = max(least, point + 3 * stock.a_month - stock.held)
                wanted[stock.terms["supplier"]].append((stock, ceil(aim / pack) * pack))
        for supplier, lines in sorted(wanted.items()):
            self._order(day, supplier, lines)

    def _order(self, day: date, supplier: str, lines: list[tuple[Stock, float]]) -> None:
        number = f"PO-{len({row['number'] for row in self.orders}) + 1:04d}"
        lead = max(float(stock.terms["lead_time_days"]) for stock, _ in lines)
        promised = day + timedelta(days=ceil(lead))
        dice = self.world.dice("order", number)
        arrives = _workday(promised + timedelta(days=round(dice.gauss(0.5, 2.5))))
        has_arrived = arrives < self.world.day
        at = datetime.combine(day, datetime.min.time(), tzinfo=ZONE) + 9 * HOUR
        for stock, quantity in lines:
            self.orders.append(
                {
                    "number": number,
                    "supplier": supplier,
                    "state": "arrived" if has_arrived else "sent",
                    "drawn_up_at": at,
                    "sent_at": at + HOUR / 2,
                    "promised_on": promised,
                    "part": stock.part["code"],
                    "quantity": quantity,
                    "unit_price": stock.terms["unit_price"],
                    "reason": f"{stock.held:g} left, {self._point(stock):g} is the point at which it is ordered",
                }
            )
            stock.on_order += quantity
            if has_arrived:
                self._arrivals[arrives].append((number, stock.part["code"], quantity))

    def _hand_told(self) -> None:
        """Clear some shelves, and write the orders that are late, just sent, or not sent yet."""
        for code, (kept, why) in LEFT.items():
            self._clear(self.stocks[code], kept, why)
        for code, least in AT_LEAST.items():
            self._clear(self.stocks[code], max(least, self.stocks[code].held), "")
        count = len({row["number"] for row in self.orders})
        told = sorted((one[1], code, one) for code, one in TOLD.items() if one is not None)
        for step, (_, code, (quantity, days, promised)) in enumerate(told, start=1):
            stock = self.stocks[code]
            drawn_up = self.world.at(days, 17)
            is_sent = promised is not None
            self.orders.append(
                {
                    "number": f"PO-{count + step:04d}",
                    "supplier": stock.terms["supplier"],
                    "state": "sent" if is_sent else "drawn_up",
                    "drawn_up_at": drawn_up,
                    "sent_at": drawn_up + HOUR / 2 if is_sent else None,
                    "promised_on": self.world.day + timedelta(days=promised) if promised is not None else None,
                    "part": code,
                    "quantity": float(quantity),
                    "unit_price": stock.terms["unit_price"],
                    "reason": "Work waits for it" if code in LEFT else "Planned work needs it",
                }
            )

    def _clear(self, stock: Stock, kept: float, why: str) -> None:
        """Scrap what is more than is to be kept; count more where it is less."""
        at = last_slot(self.world.now, 1, UPKEEP_HOURS)
        if stock.held < kept:
            self._count_more(stock, kept - stock.held, at)
        too_many = stock.held - kept
        for left in stock.lots:
            scrapped = min(left.quantity, too_many)
            if scrapped > 0:
                self.moves.append(self._move(at, stock, left.lot, "scrap", scrapped) | {"reason": why})
                left.quantity -= scrapped
                too_many -= scrapped


def _workday(day: date) -> date:
    while day.weekday() > 4:
        day += timedelta(days=1)
    return day
