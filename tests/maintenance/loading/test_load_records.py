"""Files of the stores and of upkeep: stock, orders, recurring tasks, past work, tests and checks."""

from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from inventory.models import PurchaseOrderLine, Reservation, StockLevel, StockMove, SupplierTerms
from maintenance.loading.loader import load_folder
from maintenance.models import CheckItem, Defect, FunctionCheck, Labour, ProofTest, StandingTask, StepRecord, WorkOrder
from plant.models import (
    NumberSeries,
)
from tests.maintenance.loading.loading_mill import CATALOGUE, counts, load_files, reasons, write_files

pytestmark = pytest.mark.django_db

CREW = "code,name,sign_in,roles,shift,shift_from,skills\n"
STOCK = "part,quantity,counted_at\nbelt-a,5,2026-01-05 08:00\n"
MOVES = "at,part,kind,quantity\n"
WORK = "number,sheet,kiln,component,raised_at,due_at,started_at,done_at,signed_off_at,labour,readings\n"


@pytest.fixture(autouse=True)
def _small_catalogue(settings: Any, tmp_path: Path) -> None:
    settings.FIXTURES_DIR = tmp_path / "fixtures"
    write_files(tmp_path / "fixtures" / "catalogue", dict(CATALOGUE))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "mill"


# Stores


def test_a_part_taken_below_zero_is_refused_at_its_row(folder: Path) -> None:
    moves = (
        MOVES + "2026-02-01 09:00,belt-a,issue,4\n2026-02-02 09:00,belt-a,issue,2\n2026-02-03 09:00,belt-a,receipt,9\n"
    )
    (line,) = reasons(load_files(folder, {"stock": STOCK, "stock_moves": moves}))
    assert line.startswith("stock_moves.csv, row 3, column quantity: “2” 2 piece taken, but only 1 lay in A-01")
    assert not StockMove.objects.exists()


def test_a_count_books_the_difference_to_the_ledger_of_its_instant(folder: Path) -> None:
    moves = MOVES + "2026-02-01 09:00,belt-a,issue,2\n"
    load_files(folder, {"stock": STOCK, "stock_moves": moves})
    later = STOCK + "belt-a,4,2026-03-01 08:00\n"
    load_files(folder, {"stock": later, "stock_moves": moves})
    assert StockLevel.objects.get().on_hand == 4
    assert [move.quantity for move in StockMove.objects.filter(kind="count")] == [5, 1]
    assert counts(load_files(folder, {"stock": later, "stock_moves": moves})) == {(0, 0)}


def test_a_count_in_the_past_that_later_issues_contradict_is_refused(folder: Path) -> None:
    moves = MOVES + "2026-02-01 09:00,belt-a,issue,4\n"
    load_files(folder, {"stock": STOCK, "stock_moves": moves})
    found = reasons(load_files(folder, {"stock": STOCK.replace(",5,", ",3,")}))
    assert "later issues would have taken more" in found[0]


def test_lots_keep_their_own_expiry(folder: Path) -> None:
    stock = (
        "part,lot,expires_on,quantity,counted_at\n"
        "belt-a,L1,2027-05-01,3,2026-01-05 08:00\n"
        "belt-a,L2,,2,2026-01-05 08:00\n"
    )
    load_files(folder, {"stock": stock})
    assert set(StockLevel.objects.values_list("lot__code", "lot__expires_on", "on_hand")) == {
        ("L1", date(2027, 5, 1), Decimal(3)),
        ("L2", None, Decimal(2)),
    }


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ("2026-02-01 09:00,belt-a,issue,-2\n", "below zero"),
        ("2026-02-01 09:00,belt-a,issue,0\n", "a move of nothing"),
        ("2026-02-01 09:00,belt-b,issue,1\n", "no part has this code"),
    ],
)
def test_moves_that_cannot_be_are_refused(folder: Path, row: str, expected: str) -> None:
    assert expected in reasons(load_files(folder, {"stock": STOCK, "stock_moves": MOVES + row}))[0]


def test_a_part_has_one_preferred_supplier_even_when_it_changes(folder: Path) -> None:
    suppliers = "code,name\ns1,One\ns2,Two\n"
    terms = "part,supplier,lead_time_days,unit_price,is_preferred\nbelt-a,s1,7,9.5,{}\nbelt-a,s2,3,12,{}\n"
    load_files(folder, {"suppliers": suppliers, "terms": terms.format("", "")})
    assert SupplierTerms.objects.get(is_preferred=True).supplier.code == "s1"
    load_files(folder, {"suppliers": suppliers, "terms": terms.format("no", "yes")})
    assert SupplierTerms.objects.get(is_preferred=True).supplier.code == "s2"
    assert "row 2 is preferred" in reasons(load_files(folder, {"terms": terms.format("yes", "yes")}))[0]


def test_what_has_arrived_of_an_order_is_the_sum_of_its_receipts(folder: Path) -> None:
    files = {
        "suppliers": "code,name\ns1,One\n",
        "orders": (
            "number,supplier,state,drawn_up_at,part,quantity,unit_price\n"
            "PO-0007,s1,part_arrived,2026-02-01 09:00,belt-a,10,9.5\n"
        ),
        "stock_moves": "at,part,kind,quantity,order\n2026-02-09 09:00,belt-a,receipt,4,PO-0007\n",
    }
    for _ in range(2):
        assert reasons(load_files(folder, files)) == []
    assert PurchaseOrderLine.objects.get().received == 4
    assert NumberSeries.objects.get(name="purchase order").last == 7


# Upkeep


def test_a_recurring_task_takes_what_the_catalogue_proposes(folder: Path) -> None:
    rows = (
        "code,sheet,kiln,component,anchor_on\n"
        "belt,belt-exchange,K1,fan-1,2026-01-01\n"
        "test,door-test,K1,door-1,2026-01-01\n"
    )
    load_files(folder, {"recurring_tasks": rows})
    belt, test = StandingTask.objects.order_by("code")
    assert (belt.every_running_h, belt.every, belt.window_before_days, belt.is_safety) == (2000, None, 14, False)
    assert (test.every, test.every_unit, test.window_after_days, test.is_safety) == (1, "month", 0, True)
    assert test.is_interval_published
    assert not belt.is_interval_published


def test_a_recurring_task_may_have_windows_in_hours_and_is_entered_when_it_is_loaded_first(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = (
        "code,sheet,kiln,anchor_on,every_running_h,window_before_running_h,window_after_running_h\n"
        "belt,belt-exchange,K1,2024-01-01,100,10,{after}\n"
    )
    monkeypatch.setattr("plant.clock.now", lambda: datetime(2026, 3, 2, 12, tzinfo=UTC))
    load_files(folder, {"recurring_tasks": rows.format(after=10)})
    monkeypatch.setattr("plant.clock.now", lambda: datetime(2026, 3, 9, 12, tzinfo=UTC))
    load_files(folder, {"recurring_tasks": rows.format(after=5)})
    belt = StandingTask.objects.get()
    assert (belt.window_before_running_h, belt.window_after_running_h, belt.window_after_charges) == (10, 5, 0)
    assert belt.entered_on == date(2026, 3, 2)


@pytest.mark.parametrize(
    ("row", "expected"),
    [("100,100,", "as long as the interval of 100"), ("100,,2", "the task does not count charges")],
)
def test_a_window_that_does_not_fit_its_meter_is_refused(folder: Path, row: str, expected: str) -> None:
    head = "code,sheet,kiln,anchor_on,every_running_h,window_before_running_h,window_after_charges\n"
    rows = f"{head}x,belt-exchange,K1,2026-01-01,{row}\n"
    (reason,) = reasons(load_files(folder, {"recurring_tasks": rows}))
    assert expected in reason


def test_files_with_the_words_of_an_earlier_version_still_load(folder: Path) -> None:
    work = (
        "number,sheet,kiln,origin,standing_task,occurrence_on,needs_state,raised_at,due_at,started_at,done_at\n"
        "WO-1,belt-exchange,K1,standing_task,belt,2026-01-01,standing still,"
        "2026-01-01 06:00,2026-01-02 06:00,2026-01-02 06:00,2026-01-02 08:00\n"
    )
    files = {
        "standing_tasks": "code,sheet,kiln,anchor_on\nbelt,belt-exchange,K1,2026-01-01\n",
        "work_done": work,
        "defects": "kiln,found_at,what,cured_at\nK1,2026-01-01 06:00,loose,2026-01-02 06:00\n",
    }
    assert reasons(load_files(folder, files)) == []
    order = WorkOrder.objects.get()
    assert (order.standing_task, order.needs_state) == (StandingTask.objects.get(), "still")
    assert Defect.objects.get().cured_at
    (folder / "recurring_tasks.csv").write_text("code\n", encoding="utf-8")
    assert "standing_tasks.csv" in " ".join(reasons(load_folder(folder, is_check=True)))


def test_the_date_of_the_last_work_is_never_set_back(folder: Path) -> None:
    rows = "code,sheet,kiln,anchor_on,last_done_on\nbelt,belt-exchange,K1,2026-01-01,2026-03-01\n"
    load_files(folder, {"recurring_tasks": rows})
    StandingTask.objects.update(last_done_on=date(2026, 4, 1))
    assert counts(load_files(folder, {"recurring_tasks": rows})) == {(0, 0)}
    assert StandingTask.objects.get().last_done_on == date(2026, 4, 1)


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ("belt-exchange,K1,fan-1,3,,", "the unit is missing"),
        ("belt-exchange,K1,fan-1,3,month,FREQ=DAILY", "both given"),
        ("belt-exchange,K1,fan-1,,,FREQ=SOMETIMES", "no calendar rule"),
        ("belt-exchange,K1,door-1,3,month,", "the task sheet is for fan"),
        ("belt-exchange,K2,door-1,3,month,", "no component of this kiln"),
    ],
)
def test_a_recurring_task_that_contradicts_itself_is_refused(folder: Path, row: str, expected: str) -> None:
    rows = f"code,sheet,kiln,component,every,every_unit,rrule,anchor_on\nt,{row},2026-01-01\n"
    assert expected in reasons(load_files(folder, {"recurring_tasks": rows}))[0]


def past_work() -> dict[str, str | bytes]:
    return {
        "crew": CREW + "ann,Ann,ann,technician,,,mechanical\n",
        "stock": STOCK,
        "work_done": WORK + "WO-0012,belt-exchange,K1,fan-1,2026-02-01 07:00,2026-02-10 15:00,"
        "2026-02-09 08:00,2026-02-09 10:00,,ann 110,2=10\n",
        "stock_moves": "at,part,kind,quantity,work_order\n2026-02-09 08:00,belt-a,issue,2,WO-0012\n",
    }


@pytest.mark.parametrize(
    ("signer", "is_safety", "refused"), [("ann", "yes", True), ("ann", "no", False), ("bo", "yes", False)]
)
def test_past_safety_work_was_not_signed_off_by_who_did_it(
    folder: Path, signer: str, is_safety: str, refused: bool
) -> None:
    head = WORK.replace("labour,readings", "signed_off_by,is_safety,labour,readings")
    row = "WO-0012,belt-exchange,K1,fan-1,2026-02-01 07:00,2026-02-10 15:00,2026-02-09 08:00,2026-02-09 10:00,"
    files = {
        "crew": CREW + "ann,Ann,ann,planner,,,mechanical\nbo,Bo,bo,planner,,,mechanical\n",
        "work_done": f"{head}{row}2026-02-10 07:00,{signer},{is_safety},ann 110,2=10\n",
    }
    said = reasons(load_files(folder, files))
    assert bool(said) is refused
    assert not refused or "whoever did this safety work signed it off" in said[0]


def test_past_work_comes_with_steps_readings_labour_and_parts(folder: Path) -> None:
    for _ in range(2):
        assert reasons(load_files(folder, past_work())) == []
    order = WorkOrder.objects.get()
    assert (order.state, order.title, order.hours) == ("done", "Exchange the belt", Decimal("1.5"))
    assert Labour.objects.get().minutes == 110
    assert list(StepRecord.objects.order_by("step__no").values_list("reading", flat=True)) == [None, Decimal(10)]
    assert order.parts.get().quantity == 2
    assert Reservation.objects.get().used == 2
    assert NumberSeries.objects.get(name="work order").last == 12


def test_a_proof_test_that_passed_needs_its_seal(folder: Path) -> None:
    rows = (
        "kiln,component,tested_at,tested_by,outcome,seal_no,next_due_on\n"
        "K1,door-1,2026-02-09 08:00,ann,{},{},2026-03-09\n"
    )
    crew = CREW + "ann,Ann,,,,,\n"
    assert "has no seal" in reasons(load_files(folder, {"crew": crew, "proof_tests": rows.format("passed", "")}))[0]
    assert load_files(folder, {"crew": crew, "proof_tests": rows.format("passed", "S-1")}).is_sound
    assert counts(load_files(folder, {"crew": crew, "proof_tests": rows.format("failed", "S-2")})) == {(0, 0)}
    assert ProofTest.objects.get().seal_no == "S-1"


def checks(completed_at: str = "", last_row: str = "") -> dict[str, str | bytes]:
    return {
        "crew": CREW + "ann,Ann,ann,kiln_master,,,\n",
        "function_checks": f"number,kiln,started_at,completed_at\nFC-0001,K1,2026-02-09 08:00,{completed_at}\n",
        "check_findings": "check,point,component,kiln_state,result,at,by,failure_mode\n"
        "FC-0001,fans-run,fan-1,running,defect,2026-02-09 08:10,ann,fan-stopped\n" + last_row,
        "defects": (
            "kiln,component,found_at,what,check,point\nK1,fan-1,2026-02-09 08:10,Fan 1 stands,FC-0001,fans-run\n"
        ),
    }


def test_a_check_comes_with_its_points_findings_and_defects(folder: Path) -> None:
    for _ in range(2):
        assert reasons(load_files(folder, checks())) == []
    assert CheckItem.objects.count() == 2
    assert Defect.objects.get().finding is not None
    assert FunctionCheck.objects.under_way().count() == 1


def test_a_completed_check_has_a_finding_at_every_point(folder: Path) -> None:
    assert "have no finding, for example escape-latch" in reasons(load_files(folder, checks("2026-02-10 08:00")))[0]
    row = "FC-0001,escape-latch,door-1,open_empty,sound,2026-02-10 07:00,ann,\n"
    assert load_files(folder, checks("2026-02-10 08:00", row)).is_sound


def test_a_point_is_found_in_the_state_in_which_it_can_be_seen(folder: Path) -> None:
    row = "FC-0001,escape-latch,door-1,running,sound,2026-02-10 07:00,ann,\n"
    assert "looked at with the kiln open and empty" in reasons(load_files(folder, checks("", row)))[0]


def test_a_wrong_booking_comes_in_with_what_took_it_back_or_not_at_all(folder: Path) -> None:
    head = "at,part,kind,quantity,reason,takes_back_at\n2026-02-01 08:00,belt-a,receipt,4,,\n"
    wrong = "2026-02-01 09:00,belt-a,issue,2,,\n"
    back = "2026-02-01 10:00,belt-a,undone,2,wrong part,2026-02-01 09:00\n"
    missing = load_files(folder, {"stock_moves": head + back})
    assert "no such booking to take back" in reasons(missing)[0]
    assert not StockMove.objects.exists()
    for _once_more in range(2):
        load_files(folder, {"stock_moves": head + wrong + back})
    assert [(move.kind, move.quantity) for move in StockMove.objects.that_stand()] == [("receipt", 4)]
    undone = StockMove.objects.get(kind="undone")
    assert (undone.takes_back.quantity, StockLevel.objects.get().on_hand) == (-2, 4)
