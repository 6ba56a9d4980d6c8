"""A mill's files: all or nothing, every fault listed, and a second load changes nothing."""

from datetime import UTC, date, datetime
from decimal import Decimal
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from openpyxl import Workbook

from inventory.models import Part, StockLevel
from maintenance.demo.setting_up import SET_UP
from maintenance.loading.loader import load_folder
from plant import clock
from plant.frame.export import csv_cell
from plant.models import (
    Change,
    Charge,
    Component,
    Downtime,
    Fitting,
    Kiln,
    Mill,
    Phase,
    Qualification,
    ShiftDuty,
    User,
)
from tests.maintenance.loading.loading_mill import CATALOGUE, CHARGES, MILL, counts, load_files, reasons, write_files

pytestmark = pytest.mark.django_db

SHIFTS = "code,name,weekdays,start_time,end_time\nearly,Early,mo tu we,06:00,14:30\n"
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


def test_a_first_load_keeps_mill_kilns_and_components(folder: Path) -> None:
    assert reasons(load_files(folder, {})) == []
    assert Mill.objects.current().time_zone == "Europe/Stockholm"
    assert list(Component.objects.values_list("kiln__tag", "tag")) == [
        ("K1", "door-1"),
        ("K1", "fan-1"),
        ("K2", "fan-1"),
    ]
    assert [kind.code for kind in Part.objects.get().fits.all()] == ["fan"]


def test_looking_only_keeps_nothing(folder: Path) -> None:
    assert load_files(folder, {}, is_check=True).is_sound
    assert not Mill.objects.exists()


def test_one_faulty_row_keeps_everything_out_and_every_faulty_row_is_listed(folder: Path) -> None:
    kilns = MILL["kilns"] + "K 3,60,hot_water,none,psychrometer\nK4,-1,hot water,none,psychrometr\n"
    found = reasons(load_files(folder, {"kilns": kilns}))
    assert [line.split(":")[0] for line in found] == [
        "kilns.csv, row 4, column tag",
        "kilns.csv, row 5, column usable_m3",
        "kilns.csv, row 5, column climate_sensing",
    ]
    assert "Did you mean “psychrometer”" in found[2]
    assert not Mill.objects.exists()


def test_a_fault_says_file_row_column_value_reason_and_remedy(folder: Path) -> None:
    (fault,) = load_files(folder, {"mill": "name,time_zone\nM,Europe/Stokholm\n", "parts": MILL["parts"]}).faults
    assert (fault.file, fault.row, fault.column, fault.value) == ("mill.csv", 2, "time_zone", "Europe/Stokholm")
    assert "no time zone" in fault.reason
    assert "Europe/Stockholm" in fault.remedy


def test_loading_twice_changes_nothing(folder: Path) -> None:
    files = {
        "shifts": SHIFTS,
        "crew": CREW + "ann,Ann,ann,technician,early,2026-01-01,mechanical until 2027-01-31; lock-out\n",
        "stock": STOCK,
        "stock_moves": MOVES + "2026-02-01 09:00,belt-a,issue,2\n2026-02-01 09:00,belt-a,issue,2\n",
        "charges": CHARGES + "K1,1,spruce,50,58,done,2026-02-02 06:00,2026-02-06 10:00\n",
        "recurring_tasks": "code,sheet,kiln,component,anchor_on\nt1,belt-exchange,K1,fan-1,2026-01-01\n",
    }
    assert reasons(load_files(folder, files)) == []
    changes = Change.objects.count()
    again = load_files(folder, files)
    assert counts(again) == {(0, 0)}
    assert Change.objects.count() == changes
    assert StockLevel.objects.get().on_hand == 1


def test_a_changed_row_is_changed_with_an_entry_in_the_history(folder: Path) -> None:
    load_files(folder, {})
    report = load_files(folder, {"kilns": MILL["kilns"].replace("K1,60", "K1,62.5")})
    assert str(report.counts["kilns"]) == "0 new, 1 changed, 1 unchanged"
    entry = Change.objects.about(Kiln.objects.get(tag="K1")).get()
    assert (entry.before, entry.after) == ({"usable_m3": "60.000"}, {"usable_m3": "62.500"})


def test_a_column_that_a_file_does_not_have_is_left_alone(folder: Path) -> None:
    load_files(folder, {})
    Kiln.objects.filter(tag="K1").update(restore_minutes=75)
    load_files(folder, {})
    assert Kiln.objects.get(tag="K1").restore_minutes == 75


def test_later_files_may_come_alone(folder: Path, tmp_path: Path) -> None:
    load_files(folder, {})
    alone = write_files(
        tmp_path / "alone", {"charges": CHARGES + "K1,9,pine,38,55,planned,2026-05-04 06:00,2026-05-08 10:00\n"}
    )
    call_command("load", str(alone), stdout=StringIO())
    assert Charge.objects.get().number == "9"


def test_rows_that_build_on_a_faulty_row_are_not_listed_too(folder: Path) -> None:
    files = {"kilns": MILL["kilns"].replace("K2,80", "K2,none")}
    assert len(reasons(load_files(folder, files))) == 1


def test_a_kiln_without_components_is_refused_unless_it_is_not_in_use(folder: Path) -> None:
    header = (
        MILL["kilns"]
        .replace("climate_sensing\n", "climate_sensing,is_active\n")
        .replace("psychrometer\n", "psychrometer,yes\n")
    )
    found = reasons(load_files(folder, {"kilns": header + "K3,40,electric,none,emc_plate,yes\n"}))
    assert found == [
        "kilns.csv, row 4, column tag: “K3” the kiln has no components. "
        "Add them to components.csv, or say is_active = no until they are known."
    ]
    assert load_files(folder, {"kilns": header + "K3,40,electric,none,emc_plate,no\n"}).is_sound


def test_an_unknown_code_names_the_nearest_known_one(folder: Path) -> None:
    found = reasons(load_files(folder, {"components": MILL["components"] + "K2,fan-2,fann,Fan 2\n"}))
    assert "no kind of component of the catalogue has this code. Did you mean “fan”?" in found[0]


def test_the_same_key_twice_is_refused(folder: Path) -> None:
    found = reasons(load_files(folder, {"components": MILL["components"] + "K2,fan-1,fan,Again\n"}))
    assert "row 4 has the same kiln and tag" in found[0]


def test_formula_text_stays_text_and_cannot_run_when_exported(folder: Path) -> None:
    load_files(folder, {"bins": "code,place\nA-01,=1+1\n"})
    place = Part.objects.select_related("bin").get().bin.place
    assert place == "=1+1"
    assert csv_cell(place) == "'=1+1"


def test_a_workbook_is_loaded_like_a_text_file(folder: Path) -> None:
    book = Workbook()
    assert book.active is not None
    for line in MILL["kilns"].splitlines():
        book.active.append([float(cell) if cell.isdigit() else cell for cell in line.split(",")])
    write_files(folder, {name: text for name, text in MILL.items() if name != "kilns"})
    book.save(folder / "kilns.xlsx")
    assert reasons(load_folder(folder)) == []
    assert Kiln.objects.get(tag="K2").usable_m3 == 80


# Charges


def test_phases_by_hours_fill_the_charge_and_the_plan_has_the_same_shares(folder: Path) -> None:
    header = CHARGES.replace(
        "end_at", "end_at,planned_begin_at,planned_end_at,loading_h,heating_up_h,cooling_h,unloading_h"
    )
    row = "K1,1,spruce,50,58,done,2026-02-02 06:00,2026-02-06 06:00,2026-02-02 06:00,2026-02-04 06:00,2,6,4,2\n"
    assert reasons(load_files(folder, {"charges": header + row})) == []
    phases = list(Phase.objects.values_list("kind", "begin_at", "planned_begin_at"))
    assert phases == [
        ("loading", datetime(2026, 2, 2, 5, tzinfo=UTC), datetime(2026, 2, 2, 5, tzinfo=UTC)),
        ("heating_up", datetime(2026, 2, 2, 7, tzinfo=UTC), datetime(2026, 2, 2, 6, tzinfo=UTC)),
        ("drying", datetime(2026, 2, 2, 13, tzinfo=UTC), datetime(2026, 2, 2, 9, tzinfo=UTC)),
        ("cooling", datetime(2026, 2, 5, 23, tzinfo=UTC), datetime(2026, 2, 4, 2, tzinfo=UTC)),
        ("unloading", datetime(2026, 2, 6, 3, tzinfo=UTC), datetime(2026, 2, 4, 4, tzinfo=UTC)),
    ]


def test_phases_by_instants_last_until_the_next_begins(folder: Path) -> None:
    header = CHARGES.replace("end_at", "end_at,drying_at,unloading_at")
    row = "K1,1,spruce,50,58,done,2026-02-02 06:00,2026-02-06 06:00,2026-02-02 09:00,2026-02-06 04:00\n"
    load_files(folder, {"charges": header + row})
    assert list(Phase.objects.values_list("kind", flat=True)) == ["loading", "drying", "unloading"]


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ("K1,1,spruce,50,58,done,2026-02-06 06:00,2026-02-02 06:00,\n", "row 2, column end_at"),
        ("K1,1,spruce,50,58,done,2026-02-02 06:00,,\n", "the charge has no end"),
        ("K1,1,spruce,50,58,done,2026-02-02 06:00,2026-02-02 16:00,12\n", "the phases last 12 h together"),
        ("K1,1,spruce,50,0,done,2026-02-02 06:00,2026-02-06 06:00,\n", "must be above 0"),
        ("K1,1,spruce,50,58,done,2026-03-29 02:10,2026-04-06 06:00,\n", "does not exist"),
    ],
)
def test_a_charge_that_cannot_be_is_refused(folder: Path, rows: str, expected: str) -> None:
    header = CHARGES.replace("end_at", "end_at,loading_h")
    assert any(expected in line for line in reasons(load_files(folder, {"charges": header + rows})))
    assert not Charge.objects.exists()


def test_charges_of_one_kiln_that_overlap_are_refused_by_the_later_row(folder: Path) -> None:
    rows = (
        "K1,1,spruce,50,58,done,2026-02-02 06:00,2026-02-06 06:00\n"
        "K2,1,spruce,50,58,done,2026-02-02 06:00,2026-02-06 06:00\n"
        "K1,2,spruce,50,58,done,2026-02-06 05:00,2026-02-08 06:00\n"
    )
    (line,) = reasons(load_files(folder, {"charges": CHARGES + rows}))
    assert line.startswith(
        "charges.csv, row 4, column begin_at: “2026-02-06 05:00” it overlaps charge 1 of the same kiln"
    )


def test_a_charge_that_overlaps_one_kept_already_is_refused(folder: Path) -> None:
    load_files(folder, {"charges": CHARGES + "K1,1,spruce,50,58,done,2026-02-02 06:00,2026-02-06 06:00\n"})
    (line,) = reasons(
        load_files(folder, {"charges": CHARGES + "K1,2,pine,50,58,done,2026-02-01 06:00,2026-02-03 06:00\n"})
    )
    assert "kept already" in line


def test_a_whole_programme_can_move_though_its_charges_touch(folder: Path) -> None:
    rows = (
        "K1,1,spruce,50,58,planned,2026-02-0{} 06:00,2026-02-0{} 06:00\n"
        "K1,2,pine,50,58,planned,2026-02-0{} 06:00,2026-02-0{} 06:00\n"
    )
    load_files(folder, {"charges": CHARGES + rows.format(2, 4, 4, 6)})
    report = load_files(folder, {"charges": CHARGES + rows.format(3, 5, 5, 7)})
    assert reasons(report) == []
    assert report.counts["charges"].changed == 2
    assert [begin.day for begin in Charge.objects.values_list("begin_at", flat=True)] == [3, 5]
    assert [begin.day for begin in Phase.objects.values_list("begin_at", flat=True)] == [3, 5]


# Downtime

DOWN = "kiln,kind,start_at,end_at,share_lost,component\n"


@pytest.mark.parametrize(
    ("inner", "is_refused"),
    [
        ("K1,unplanned,2026-02-03 08:00,2026-02-03 09:00,1,", True),
        ("K1,unplanned,2026-02-03 08:00,,0.5,", False),
        ("K1,planned,2026-02-03 08:00,2026-02-03 09:00,1,", False),
        ("K2,unplanned,2026-02-03 08:00,2026-02-03 09:00,1,", False),
        ("K1,unplanned,2026-02-03 12:00,2026-02-03 20:00,1,", False),
    ],
)
def test_a_downtime_inside_another_of_the_same_kiln_and_kind_is_refused(
    folder: Path, inner: str, is_refused: bool
) -> None:
    outer = "K1,unplanned,2026-02-03 06:00,2026-02-03 14:00,1,fan-1\n"
    found = reasons(load_files(folder, {"downtime": f"{DOWN}{outer}{inner}\n"}))
    assert bool(found) == is_refused
    assert all("lies inside another downtime" in line and "row 3" in line for line in found)


def test_slowings_of_two_components_may_lie_inside_one_another(folder: Path) -> None:
    rows = (
        "K1,unplanned,2026-02-03 06:00,2026-02-03 14:00,0.2,fan-1\n"
        "K1,unplanned,2026-02-03 08:00,2026-02-03 10:00,0.1,door-1\n"
    )
    assert load_files(folder, {"downtime": DOWN + rows}).is_sound
    same = rows.replace("door-1", "fan-1")
    assert not load_files(folder, {"downtime": DOWN + same}).is_sound


def test_what_came_from_outside_the_kiln_is_loaded_with_its_cause(folder: Path) -> None:
    head = "kiln,kind,start_at,end_at,cause\n"
    silent = load_files(folder, {"downtime": f"{head}K1,external,2026-02-03 06:00,2026-02-03 09:00,\n"})
    assert "nothing says what came from outside" in reasons(silent)[0]
    assert load_files(folder, {"downtime": f"{head}K1,external,2026-02-03 06:00,2026-02-03 09:00,power cut\n"}).is_sound
    assert Downtime.objects.get().get_kind_display() == "cause outside the kiln"


def test_a_downtime_that_was_closed_is_not_opened_again(folder: Path) -> None:
    files = {"downtime": DOWN + "K1,unplanned,2026-02-03 06:00,,1,fan-1\n"}
    load_files(folder, files)
    Downtime.objects.update(end_at=datetime(2026, 2, 3, 12, tzinfo=UTC))
    assert counts(load_files(folder, files)) == {(0, 0)}
    assert not Downtime.objects.get().is_open


def test_a_failure_mode_of_another_kind_of_component_is_refused(folder: Path) -> None:
    rows = "kiln,kind,start_at,component,failure_mode\nK1,unplanned,2026-02-03 06:00,fan-1,escape-latch-corroded\n"
    assert "another kind of component" in reasons(load_files(folder, {"downtime": rows}))[0]


def test_a_meter_that_runs_backwards_is_refused_unless_it_was_exchanged(folder: Path) -> None:
    rows = "kiln,read_at,running_h,is_new_meter\nK1,2026-02-01 06:00,900,no\nK1,2026-03-01 06:00,{},{}\n"
    assert "showed 900" in reasons(load_files(folder, {"meter_readings": rows.format(20, "no")}))[0]
    assert load_files(folder, {"meter_readings": rows.format(20, "yes")}).is_sound


def test_two_things_in_one_position_are_refused(folder: Path) -> None:
    rows = "kiln,component,fitted_at,removed_at,removal\nK1,fan-1,2024-02-01 06:00,,\nK1,fan-1,2025-02-01 06:00,,\n"
    assert "something else sat there" in reasons(load_files(folder, {"fittings": rows}))[0]
    mended = rows.replace("2024-02-01 06:00,,", "2024-02-01 06:00,2025-01-31 06:00,worn")
    assert load_files(folder, {"fittings": mended}).is_sound
    assert Fitting.objects.count() == 2


# Crew


def test_people_get_sign_in_roles_shift_and_skills(folder: Path) -> None:
    row = "ann,Ann Ash,ann,technician; planner,early,2026-01-01,mechanical until 31.1.2027; lock-out\n"
    load_files(folder, {"shifts": SHIFTS, "crew": CREW + row})
    user = User.objects.get(username="ann")
    assert user.roles == {"technician", "planner"}
    assert not user.has_usable_password()
    assert set(Qualification.objects.values_list("skill__code", "valid_until")) == {
        ("mechanical", date(2027, 1, 31)),
        ("lock-out", None),
    }
    assert ShiftDuty.objects.get().shift.weekdays == "MO,TU,WE"


def test_a_skill_that_ran_out_is_kept_and_warned_of(folder: Path, settings: Any) -> None:
    settings.KILNWARD_TODAY = "2026-06-01"
    report = load_files(folder, {"crew": CREW + "ann,Ann Ash,,,,,lock-out until 2026-05-31\n"})
    assert report.is_sound
    assert "lock-out of Ann Ash ran out on 2026-05-31" in str(report.warnings[0])
    assert not Qualification.objects.get().is_valid_on(clock.today(Mill.objects.current().zone))


def test_a_skill_that_is_taken_away_goes_with_an_entry_in_the_history(folder: Path) -> None:
    row = CREW + "ann,Ann Ash,,,,,lock-out; mechanical\n"
    load_files(folder, {"crew": row})
    load_files(folder, {"crew": row.replace("; mechanical", " until 2027-01-01")})
    assert Qualification.objects.get().valid_until == date(2027, 1, 1)
    assert Change.objects.filter(after={"skills": "lock-out until 2027-01-01"}).exists()


def test_a_new_shift_ends_the_turn_before_it(folder: Path) -> None:
    shifts = SHIFTS + "late,Late,MO,14:00,22:00\n"
    row = CREW + "ann,Ann,,,early,2026-01-01,\n"
    load_files(folder, {"shifts": shifts, "crew": row})
    load_files(folder, {"shifts": shifts, "crew": row.replace("early,2026-01-01", "late,2026-03-01")})
    assert list(ShiftDuty.objects.values_list("shift__code", "until_on")) == [
        ("early", date(2026, 2, 28)),
        ("late", None),
    ]


def test_two_people_cannot_share_a_sign_in(folder: Path) -> None:
    found = reasons(load_files(folder, {"crew": CREW + "ann,Ann,ann,,,,\nbo,Bo,ANN,,,,\n"}))
    assert "row 2 has the same sign-in" in found[0]


# The command


@pytest.mark.parametrize(
    ("files", "expected"),
    [
        (None, "there is no such folder"),
        ({}, "no CSV or XLSX file lies here"),
        ({"kilns": MILL["kilns"]}, "the file of the mill is missing"),
        ({"mill": "name\nM\n"}, "column time_zone: the column is missing"),
        ({"mill": b"\x00\x01\x02"}, "not a text file"),
        ({"mill": MILL["mill"], "klins": "tag\n"}, "Did you mean “kilns”?"),
        ({"mill": MILL["mill"] + "Second,UTC\n"}, "a second mill"),
    ],
)
def test_the_command_ends_with_the_faults_and_nothing_half_done(folder: Path, files: Any, expected: str) -> None:
    if files is not None:
        write_files(folder, files)
    errors = StringIO()
    with pytest.raises(CommandError, match="nothing was kept"):
        call_command("load", str(folder), stdout=StringIO(), stderr=errors)
    assert expected in errors.getvalue()
    assert not Mill.objects.exists()


def test_a_mills_own_files_stay_apart_from_the_demo(folder: Path) -> None:
    load_files(folder, {})
    kilns = Kiln.objects.count()
    Change.record(Mill.objects.current(), SET_UP, by=None, after={"day": "2026-03-02"})
    other = {"mill": MILL["mill"], "kilns": MILL["kilns"] + "K9,12,hot_water,water_spray,psychrometer\n"}
    with pytest.raises(CommandError, match="KILNWARD_DATA_DIR"):
        call_command("load", str(write_files(folder, other)), stdout=StringIO())
    assert Kiln.objects.count() == kilns


def test_of_several_words_the_one_at_fault_is_named(folder: Path) -> None:
    found = reasons(load_files(folder, {"crew": CREW + "ann,Ann,ann,technician;boss,,,mechanical;flying\n"}))
    assert "“boss” is none of the words" in found[0]
    assert "no skill of the catalogue has this code: “flying”" in found[1]


def test_a_file_above_the_limit_is_refused(folder: Path, settings: Any) -> None:
    settings.MAX_LOAD_BYTES = 1000
    files = {"charges": CHARGES + "K1,1,spruce,50,58,done,2026-02-02 06:00,2026-02-06 06:00\n" * 20}
    (line,) = [line for line in reasons(load_files(folder, files)) if line.startswith("charges")]
    assert "KILNWARD_MAX_LOAD_MB" in line


def test_the_command_says_how_many_rows_were_new(folder: Path) -> None:
    output = StringIO()
    call_command("load", str(write_files(folder, dict(MILL))), stdout=output)
    assert "kilns              2 new, 0 changed, 0 unchanged" in output.getvalue()


def test_local_notation_is_read_as_the_mill_states_it(folder: Path) -> None:
    files = {
        "mill": "name;time_zone;date_order;decimal_mark\nM;Europe/Stockholm;dmy;,\n",
        "kilns": MILL["kilns"]
        .replace(",", ";")
        .replace("60", "1.060,5")
        .replace("tag;", "tag;built_on;")
        .replace("K1;", "K1;3/4/2014;")
        .replace("K2;", "K2;;"),
    }
    assert reasons(load_files(folder, files)) == []
    kiln = Kiln.objects.get(tag="K1")
    assert (kiln.usable_m3, kiln.built_on) == (Decimal("1060.5"), date(2014, 4, 3))


def test_an_unknown_column_hides_no_other_fault_of_its_file(folder: Path) -> None:
    head, first, second = MILL["kilns"].splitlines()
    kilns = f"{head},colour\n{first.replace('K1,60', 'K1,-60')},red\n{second},blue\n"
    found = reasons(load_files(folder, {"kilns": kilns}))
    assert [line.split(":")[0] for line in found] == [
        "kilns.csv, row 1, column colour",
        "kilns.csv, row 2, column usable_m3",
    ]
    assert not Kiln.objects.exists()


def test_a_misspelt_column_that_is_needed_is_named_beside_what_is_missing(folder: Path) -> None:
    found = reasons(load_files(folder, {"kilns": MILL["kilns"].replace("tag,", "tga,")}))
    assert [line.split(":")[0] for line in found] == ["kilns.csv, row 1, column tga", "kilns.csv, row 1, column tag"]
    assert "Did you mean “tag”?" in found[0]


@pytest.mark.parametrize(
    ("table", "text", "columns"),
    [
        ("downtime", "kiln,start_at,end_at,kind\nK1,2026-03-02 10:00,2026-03-02 09:00,odd\n", ["kind", "end_at"]),
        (
            "charges",
            CHARGES + "K1,C1,pine,-5,60,planned,2026-03-02 10:00,2026-03-01 10:00\n",
            ["thickness_mm", "end_at"],
        ),
        ("absences", "person,start_at,end_at\nnobody,2026-03-02 10:00,2026-03-02 10:00\n", ["person", "end_at"]),
        (
            "function_checks",
            "number,kiln,started_at,completed_at\nFC-0001,K9,2026-03-02 10:00,2026-03-02 09:00\n",
            ["kiln", "completed_at"],
        ),
        ("defects", "kiln,found_at,what,mended_at\nK9,2026-03-02 10:00,x,2026-03-01 10:00\n", ["kiln", "mended_at"]),
        (
            "work_done",
            "number,sheet,kiln,raised_at,due_at,started_at,done_at,signed_off_at\n"
            "WO-1,belt-exchange,K9,2026-03-01 07:00,2026-03-01 15:00,2026-03-02 10:00,2026-03-02 09:00,"
            "2026-03-02 08:00\n",
            ["kiln", "done_at", "signed_off_at"],
        ),
    ],
)
def test_an_end_before_its_start_is_listed_beside_the_other_faults_of_its_row(
    folder: Path, table: str, text: str, columns: list[str]
) -> None:
    found = load_files(folder, {table: text}).faults
    assert [fault.column for fault in found] == columns
    assert not Mill.objects.exists()
