"""The stores' pages: what lies there, what to do and why, and the forms that book."""

import csv
import io
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inventory.actions import issue, order_part, receive, reserve, send
from inventory.advice import refresh_advice
from inventory.models import Lot, Part, PurchaseOrder, StockLevel, StockMove, SupplierTerms
from inventory.shelf import gather_shelves
from inventory.use import MonthOfUse, draw, months_of_use
from inventory.words import what_to_do
from plant import clock
from plant.models import Change, Mill
from tests.factories import BinFactory, ComponentKindFactory, PartFactory, SupplierFactory
from tests.inventory.storeroom_things import keeper, kept_part, mill_today, signed_in, wanted_part

pytestmark = pytest.mark.django_db


def text(client: Client, url: str) -> str:
    answer: Any = client.get(url)
    assert answer.status_code == 200
    return str(answer.content.decode())


def queries(client: Client, url: str) -> int:
    with CaptureQueriesContext(connection) as captured:
        text(client, url)
    return len(captured)


# --- the list -------------------------------------------------------------------------------------


def test_empty_stores_say_what_fills_it(client: Client) -> None:
    signed_in(client)
    assert "Load them from the mill" in text(client, "/stores/")


def test_the_most_urgent_part_stands_first_with_its_reason(client: Client) -> None:
    kept_part("plenty", name="a plain nozzle", on_hand=200)
    wanted_part("wick-300")
    refresh_advice(mill_today())
    signed_in(client)
    page = text(client, "/stores/")
    assert page.index("wet-bulb wick") < page.index("a plain nozzle")
    assert "14 on hand, 18 reserved, 0 on order, reorder at 18" in page
    assert "Waiting for it: WO-" in page


@pytest.mark.parametrize("url", ["/stores/", "/stores/?show=late", "/stores/?show=expiring&q=part"])
def test_the_list_asks_the_same_number_of_queries_for_ten_parts_and_for_thousands(client: Client, url: str) -> None:
    bin_ = BinFactory()
    signed_in(client)

    def add_parts(numbers: range) -> None:
        parts = Part.objects.bulk_create(Part(code=f"p{n}", name=f"part {n}", bin=bin_) for n in numbers)
        StockLevel.objects.bulk_create(StockLevel(part=part, bin=bin_, on_hand=Decimal(3)) for part in parts)

    add_parts(range(10))
    few = queries(client, url)
    add_parts(range(10, 3000))
    assert queries(client, url) == few


def test_twenty_five_parts_fill_a_page(client: Client) -> None:
    bin_ = BinFactory()
    Part.objects.bulk_create(Part(code=f"p{n}", name=f"part {n:03}", bin=bin_) for n in range(60))
    signed_in(client)
    assert "page 1 of 3, 60 in all" in text(client, "/stores/")
    last = text(client, "/stores/?page=3")
    assert "part 059" in last
    assert "part 001" not in last
    assert "part 059" in text(client, "/stores/?page=999")


def test_the_list_can_be_narrowed(client: Client) -> None:
    day, by = mill_today(), keeper()
    wanted_part("wick-300", name="wick")
    late = kept_part("brg-3", name="bearing", criticality="stops")
    send(order_part(late, Decimal(10), by).order, by, day)
    PurchaseOrder.objects.update(promised_on=day - timedelta(days=2))
    old = kept_part("emc-50", name="plates", shelf_life_days=365, on_hand=4)
    Lot.objects.filter(part=old).update(expires_on=day + timedelta(days=20))
    refresh_advice(day)
    signed_in(client)
    found = {}
    for query in ("show=to-order", "show=late", "show=expiring", "show=stops", "q=brg", "q=late+nothing", "show=odd"):
        page = text(client, f"/stores/?{query}")
        found[query] = {name for name in ("wick", "bearing", "plates") if f">{name}</a>" in page}
    assert found == {
        "show=to-order": {"wick"},
        "show=late": {"bearing"},
        "show=expiring": {"plates"},
        "show=stops": {"bearing"},
        "q=brg": {"bearing"},
        "q=late+nothing": set(),
        "show=odd": {"wick", "bearing", "plates"},
    }


def test_a_delivery_that_is_late_is_said_with_its_days(client: Client) -> None:
    part, by = wanted_part(), keeper()
    send(order_part(part, Decimal(40), by).order, by, mill_today())
    signed_in(client)
    assert "On order, due" in text(client, "/stores/")
    PurchaseOrder.objects.update(promised_on=mill_today() - timedelta(days=1))
    assert "Late by 1 day<" in text(client, "/stores/")


def test_the_list_goes_out_as_csv_and_no_cell_is_a_formula(client: Client) -> None:
    kept_part("evil", name="=1+1", on_hand=3)
    kept_part("seal", name="seal", unit="m")
    signed_in(client)
    answer: Any = client.get("/stores/as-csv/?q=evil")
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert [(row["part"], row["on hand"]) for row in rows] == [("'=1+1", "3.000")]


# --- booking --------------------------------------------------------------------------------------


def post(client: Client, kind: str, part: Part, **values: Any) -> Any:
    return client.post(f"/stores/{kind}/?part={part.code}", {"key": uuid4(), **values}, follow=True)


def test_a_part_is_found_by_code_or_by_some_of_its_name(client: Client) -> None:
    kept_part("wick-300", name="wet-bulb wick 300")
    kept_part("wick-500", name="wet-bulb wick 500")
    signed_in(client)
    assert "Which part?" in text(client, "/stores/issue/")
    assert "Issue: wet-bulb wick 300" in text(client, "/stores/issue/?part=wick-300")
    assert "Issue: wet-bulb wick 500" in text(client, "/stores/issue/?part=500")
    assert "Several parts fit" in text(client, "/stores/issue/?part=wick")
    assert "No part fits" in text(client, "/stores/issue/?part=<b>")
    assert '<option value="wick-500">' in text(client, "/stores/part-suggestions/?part=bulb")


@pytest.mark.parametrize("typed", ["%00", "%F0%9F%AA%B5", "'", "%25", "x" * 3000])
def test_whatever_is_typed_into_a_search_is_answered(client: Client, typed: str) -> None:
    kept_part()
    signed_in(client)
    for url in ("/stores/?q=", "/stores/issue/?part=", "/stores/part-suggestions/?part="):
        text(client, url + typed)
    text(client, f"/stores/receive/?part=wick-300&line={'9' * 30}")


def test_parts_are_booked_in_out_and_back(client: Client) -> None:
    part = kept_part()
    signed_in(client)
    assert "Booked in: 14 of" in post(client, "receive", part, quantity="14,0", bin=part.bin_id).content.decode()
    assert "Booked out: 5 from bin C2-1." in post(client, "issue", part, quantity="5").content.decode()
    assert "Booked back: 1 into bin C2-1." in post(client, "return", part, quantity="1").content.decode()
    assert StockLevel.objects.get().on_hand == 10


def test_more_than_there_is_is_refused_and_what_was_typed_stays(client: Client) -> None:
    part = kept_part(on_hand=3)
    signed_in(client)
    page = post(client, "issue", part, quantity="4", reason="for K2").content.decode()
    assert "3 on hand in bin C2-1" in page
    assert 'value="for K2"' in page
    assert StockLevel.objects.get().on_hand == 3


@pytest.mark.parametrize("typed", ["", "x", "-1", "0", "1.5", "1e30", "NaN", "99999999999999999999"])
def test_a_quantity_that_is_none_is_answered_and_nothing_booked(client: Client, typed: str) -> None:
    part = kept_part(on_hand=3)
    signed_in(client)
    rows = StockMove.objects.count()
    for kind, values in (("receive", {"bin": part.bin_id}), ("issue", {}), ("scrap", {"reason": "wet"})):
        answer = post(client, kind, part, quantity=typed, **values)
        assert answer.status_code == 200
        assert "field-error" in answer.content.decode() or "note-error" in answer.content.decode()
    assert StockMove.objects.count() == rows


def test_a_count_puts_the_record_right_in_each_place(client: Client) -> None:
    part = kept_part(on_hand=14)
    signed_in(client)
    name = f"bin{part.bin_id}_lot0"
    page = post(client, "count", part, **{name: "12", f"seen_{name}": "14"}).content.decode()
    assert "Bin C2-1 put right by -2." in page
    assert "Write a count in at least one row" in post(client, "count", part).content.decode()
    stale = {name: "13", f"seen_{name}": "14"}
    answer = post(client, "count", part, **stale)
    assert "was 14 when you began and is 12 now" in answer.content.decode()
    assert answer.context["form"][f"seen_{name}"].value() == "12.000"
    assert StockLevel.objects.get().on_hand == 12


def test_parts_are_thrown_away_and_moved(client: Client) -> None:
    part = kept_part(on_hand=10)
    other = BinFactory(code="D1-1")
    level = StockLevel.objects.get()
    signed_in(client)
    post(client, "scrap", part, place=level.pk, quantity="2", reason="rust")
    post(client, "transfer", part, place=level.pk, quantity="3", to_bin=other.pk)
    assert dict(StockLevel.objects.values_list("bin__code", "on_hand")) == {"C2-1": 5, "D1-1": 3}
    assert "This field is required" in post(client, "scrap", part, place=level.pk, quantity="1").content.decode()


def test_whoever_takes_what_others_wait_for_is_told(client: Client) -> None:
    part = kept_part(on_hand=5)
    reserve(part, Decimal(4), mill_today(), "WO-0412", "K2: Change the wicks")
    signed_in(client)
    asked = post(client, "issue", part, quantity="3").content.decode()
    assert "WO-0412 (K2: Change the wicks) would lack 2, needed by" in asked
    assert 'name="take_from" value="WO-0412"' in asked
    assert StockLevel.objects.get().on_hand == 5
    assert "Say why it is taken" in post(client, "issue", part, quantity="3", take_from="WO-0412").content.decode()
    page = post(client, "issue", part, quantity="3", take_from="WO-0412", reason="K1 stands").content.decode()
    assert "Waiting for it: WO-0412 (K2: Change the wicks)." in page
    assert StockLevel.objects.get().on_hand == 2


def test_a_technician_takes_parts_for_a_work_order_only(client: Client) -> None:
    part = kept_part(on_hand=5)
    wanted = reserve(part, Decimal(2), mill_today(), "WO-0412")
    signed_in(client, "technician")
    assert "This field is required" in post(client, "issue", part, quantity="1").content.decode()
    post(client, "issue", part, quantity="2", reservation=wanted.pk)
    assert StockLevel.objects.get().on_hand == 3


@pytest.mark.parametrize(
    ("role", "refused"),
    [
        ("auditor", {"receive", "issue", "return", "count", "scrap", "transfer", "draw-up-orders", "change", "order"}),
        ("manager", {"receive", "issue", "return", "count", "scrap", "transfer", "draw-up-orders", "change", "order"}),
        ("technician", {"receive", "count", "scrap", "transfer", "draw-up-orders", "change", "order"}),
        ("planner", {"receive", "count", "scrap", "transfer", "change"}),
        ("storekeeper", set()),
    ],
)
def test_each_role_reaches_what_it_may(client: Client, role: str, refused: set[str]) -> None:
    part = kept_part(on_hand=1)
    signed_in(client, role)
    text(client, "/stores/")
    text(client, "/stores/orders/")
    page = text(client, f"/stores/parts/{part.code}/")
    urls = {kind: f"/stores/{kind}/" for kind in ("receive", "issue", "return", "count", "scrap", "transfer")}
    urls |= {"change": f"/stores/parts/{part.code}/change/", "order": f"/stores/parts/{part.code}/order/"}
    answers = {name: client.get(url).status_code for name, url in urls.items()}
    answers["draw-up-orders"] = client.post("/stores/draw-up-orders/").status_code
    assert {name for name, status in answers.items() if status == 403} == refused
    for kind in ("receive", "scrap"):
        assert (f"/stores/{kind}/?part=" in page) == (kind not in refused)


# --- a part ---------------------------------------------------------------------------------------


def test_the_parts_page_shows_ledger_shelf_and_who_waits(client: Client) -> None:
    part, by = wanted_part(), keeper()
    receive(part, Decimal(6), by=by, key=uuid4())
    issue(part, Decimal(5), by=by, key=uuid4(), reason="for K2", take_from=[f"WO-{part.pk:04d}"])
    signed_in(client, "auditor")
    answer: Any = client.get(f"/stores/parts/{part.code}/")
    page = answer.content.decode()
    assert [move.balance for move in answer.context["page"].object_list] == [15, 20, 14]
    assert f"/work-orders/WO-{part.pk:04d}/" in page
    assert "3 missing" in page
    assert "Use month by month" in page
    assert "Chance of running out" in page
    rows = client.get(f"/stores/parts/{part.code}/ledger-as-csv/").content.decode("utf-8-sig").splitlines()
    assert rows[1].split(",")[1:5] == ["issue", "-5.000", "piece", "15.000"]


def test_a_lot_that_expired_must_not_be_used(client: Client) -> None:
    part = kept_part("emc-50", shelf_life_days=365, on_hand=4)
    Lot.objects.update(expires_on=mill_today() - timedelta(days=1))
    reserve(part, Decimal(1), mill_today(), "WO-0412")
    shelf = gather_shelves([part], mill_today())[part.pk]
    assert (shelf.on_hand, shelf.expired, shelf.free) == (4, 4, -1)
    assert [claim.missing for claim in shelf.waiting] == [1]
    signed_in(client)
    assert "expired: do not use" in text(client, f"/stores/parts/{part.code}/")


def test_earlier_claims_are_served_first() -> None:
    part, day = kept_part(on_hand=5), mill_today()
    reserve(part, Decimal(4), day + timedelta(days=9), "WO-0002")
    reserve(part, Decimal(3), day + timedelta(days=2), "WO-0001")
    claims = gather_shelves([part], day)[part.pk].claims
    assert [(claim.reservation.source, claim.missing) for claim in claims] == [("WO-0001", 0), ("WO-0002", 2)]


def test_use_is_what_left_less_what_came_back_in_the_mills_months() -> None:
    part, by = kept_part(on_hand=20), keeper()
    wanted = reserve(part, Decimal(9), mill_today(), "WO-0001")
    issue(part, Decimal(4), by=by, key=uuid4(), reservation=wanted)
    issue(part, Decimal(3), by=by, key=uuid4())
    months = months_of_use(part, mill_today(), Mill.objects.current().zone)
    assert len(months) == 14
    assert (months[-1].planned, months[-1].unplanned, months[0].total) == (4, 3, 0)


def test_the_picture_of_use_stays_within_its_frame() -> None:
    day = clock.now().date()
    months = [MonthOfUse(day, Decimal(4), Decimal(2)), MonthOfUse(day, Decimal(-1), Decimal(0))]
    tall, empty = draw(months)
    assert float(tall.unplanned_y) == 0
    assert float(tall.planned_height) == pytest.approx(2 * float(tall.unplanned_height), abs=0.2)
    assert (empty.planned_height, empty.unplanned_height) == ("0.0", "0.0")


def test_particulars_change_with_a_history_and_nobody_is_overwritten(client: Client) -> None:
    part, kind = kept_part(), ComponentKindFactory()
    signed_in(client)
    url = f"/stores/parts/{part.code}/change/"
    seen = client.get(url).context["form"]["seen"].value()
    form = {"name": "wick, new", "bin": part.bin_id, "unit": "piece", "criticality": "stops", "is_active": "on"}
    form |= {"fits": [kind.pk], "seen": str(seen).replace("'", '"')}
    assert client.post(url, form).status_code == 302
    last = Change.objects.about(part).last()
    assert last is not None
    assert (last.before["criticality"], last.after["criticality"], last.after["fits"]) == ("waits", "stops", ["fan"])
    page = client.post(url, form).content.decode()
    assert "Somebody changed this meanwhile" in page
    assert "Somebody changed" in client.post(url, {**form, "seen": "[1]"}).content.decode()
    page = text(client, f"/stores/parts/{part.code}/")
    assert "criticality: waits → stops" in page
    assert "fits: – → fan" in page


def test_the_unit_stays_once_the_ledger_is_kept_in_it(client: Client) -> None:
    part = kept_part(on_hand=1)
    signed_in(client)
    url = f"/stores/parts/{part.code}/change/"
    seen = str(client.get(url).context["form"]["seen"].value()).replace("'", '"')
    form = {"name": part.name, "bin": part.bin_id, "unit": "m", "criticality": "waits", "is_active": "on", "seen": seen}
    assert "its ledger is kept in piece" in client.post(url, form).content.decode()


def test_another_supplier_may_become_the_preferred_one(client: Client) -> None:
    part = kept_part()
    birch = SupplierFactory(code="birch", name="Birch Supply")
    signed_in(client)
    form = {"supplier": birch.pk, "lead_time_days": "9", "lead_time_sd_days": "0", "pack_size": "5"}
    form |= {"least_order": "5", "unit_price": "2.90", "is_preferred": "on", "seen": "{}"}
    url = f"/stores/parts/{part.code}/terms/"
    assert "Write a number above 0." in client.post(url, {**form, "pack_size": "0"}).content.decode()
    assert client.post(url, form).status_code == 302
    assert SupplierTerms.objects.get(is_preferred=True).supplier == birch
    assert "Birch Supply" in text(client, f"/stores/parts/{part.code}/terms/birch/")


def test_a_part_is_ordered_by_hand(client: Client) -> None:
    part = kept_part()
    signed_in(client)
    answer: Any = client.post(f"/stores/parts/{part.code}/order/", {"quantity": "30"}, follow=True)
    assert "stands in PO-0001" in answer.content.decode()


def test_what_is_not_there_is_not_found(client: Client) -> None:
    PartFactory()
    signed_in(client)
    for url in ("/stores/parts/nothing/", "/stores/orders/PO-9999/", "/stores/parts/wick-300/terms/nobody/"):
        assert client.get(url).status_code == 404


def test_a_move_that_nobody_signed_says_that_it_came_from_a_file(client: Client) -> None:
    part = kept_part(on_hand=4)
    assert StockMove.objects.get(part=part).by is None
    signed_in(client)
    assert '<td data-head="By">from a file</td>' in text(client, part.get_absolute_url())


@pytest.mark.parametrize("on_hand", [0, 1])
def test_a_part_that_stops_the_kiln_is_never_enough_at_none(client: Client, on_hand: int) -> None:
    part = kept_part(criticality="stops", on_hand=on_hand)
    refresh_advice(mill_today(), [part])
    signed_in(client)
    for url in ("/stores/", part.get_absolute_url()):
        said = text(client, url)
        assert ("None there: stops the kiln" in said, "Enough" in said) == (not on_hand, bool(on_hand))
    assert ("1 part that stops a kiln is not there" in text(client, "/stores/")) == (not on_hand)
    assert (part.name in text(client, "/stores/?show=none")) == (not on_hand)


def test_a_lot_out_of_date_does_not_make_a_part_that_stops_the_kiln_enough() -> None:
    part = kept_part(criticality="stops", on_hand=1, shelf_life_days=3)
    later_on = mill_today() + timedelta(days=10)
    shelf = gather_shelves([part], later_on)[part.pk]
    assert what_to_do(shelf)[0].words == "None there: stops the kiln"
    assert list(Part.objects.all().none_that_stops(later_on)) == [part]
    assert not Part.objects.all().none_that_stops(mill_today()).exists()


@pytest.mark.parametrize("is_ordered", [False, True])
def test_a_note_typed_at_a_receipt_is_kept(client: Client, is_ordered: bool) -> None:
    part = kept_part()
    signed_in(client)
    typed = {"quantity": "3", "bin": part.bin_id, "reason": "box was wet"}
    if is_ordered:
        line = order_part(part, Decimal(3), None)
        send(line.order, None, mill_today())
        typed["order_line"] = line.pk
    post(client, "receive", part, **typed)
    move = StockMove.objects.get()
    assert (move.reason, move.order_line_id is not None) == ("box was wet", is_ordered)
    assert "box was wet" in text(client, part.get_absolute_url())
