"""The catalogue that ships with the product is whole and consistent, read as plain CSV."""

import csv
import re
from collections import Counter
from functools import cache
from pathlib import Path

import pytest

FIXTURES = Path(__file__).resolve().parents[3] / "fixtures"
SLUG = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
STATUSES = {"verified", "from memory", "common practice"}

FILES = {
    "component_kinds": "code,name,group,end_view_no,description,source,source_status",
    "cautions": "code,title,text,states,is_inside,energies,before_start,beside_running,source,source_status",
    "check_points": "code,component_kind,end_view_no,what,seen_in,method,criterion,substitute_code,substitute_when,"
    "blocks_entry,per,interval_text,interval_days,interval_is,cautions,source,source_status",
    "failure_modes": "code,component_kind,name,mechanism,sign,consequence,likelihood_hint,source,source_status",
    "skills": "code,name,is_licensed_trade,source,source_status",
    "part_kinds": "code,name,unit,component_kind,shelf_life_days,is_consumable,source,source_status",
    "task_sheets": "code,title,component_kind,needs_state,hours,crew,skills,cautions,is_proof_test,is_safety,purpose,"
    "source,source_status",
    "task_steps": "sheet,no,text,reading_name,reading_unit,low,high,is_required",
    "task_parts": "sheet,part_kind,quantity",
    "standing_defaults": "sheet,every,every_unit,window_before,window_after,reset_early,reset_inside,reset_late,"
    "interval_is,source,source_status",
    "watches": "code,name,signal,rule,parameters,phases,component_kind,failure_modes,severity,agrees_within_days,"
    "task_sheet,sentence,loss_kind,due_days,safety_days,source,source_status",
}
WITH_CODE = [name for name, header in FILES.items() if header.startswith("code,")]
WITH_SOURCE = [name for name, header in FILES.items() if header.endswith("source_status")]

# file, column, file it points into
REFERENCES = [
    ("check_points", "component_kind", "component_kinds"),
    ("check_points", "substitute_code", "check_points"),
    ("check_points", "cautions", "cautions"),
    ("failure_modes", "component_kind", "component_kinds"),
    ("part_kinds", "component_kind", "component_kinds"),
    ("task_sheets", "component_kind", "component_kinds"),
    ("task_sheets", "cautions", "cautions"),
    ("task_sheets", "skills", "skills"),
    ("task_steps", "sheet", "task_sheets"),
    ("task_parts", "sheet", "task_sheets"),
    ("task_parts", "part_kind", "part_kinds"),
    ("standing_defaults", "sheet", "task_sheets"),
    ("watches", "component_kind", "component_kinds"),
    ("watches", "failure_modes", "failure_modes"),
    ("watches", "task_sheet", "task_sheets"),
]
CHOICES = [
    (
        "component_kinds",
        "group",
        "envelope doors air heat humidity climate_sensing wood_moisture_sensing safety surroundings",
    ),
    ("check_points", "seen_in", "running open_empty either"),
    ("check_points", "per", "component kiln"),
    ("check_points", "blocks_entry", "yes no"),
    ("skills", "is_licensed_trade", "yes no"),
    ("part_kinds", "is_consumable", "yes no"),
    ("part_kinds", "unit", "piece m set pack l kg"),
    ("task_sheets", "needs_state", "running empty still any"),
    ("task_sheets", "is_proof_test", "yes no"),
    ("task_sheets", "is_safety", "yes no"),
    ("task_steps", "is_required", "yes no"),
    ("standing_defaults", "every_unit", "day week month charge running_hour"),
    ("standing_defaults", "reset_early", "anchored completion"),
    ("standing_defaults", "reset_inside", "anchored completion"),
    ("standing_defaults", "reset_late", "anchored completion"),
]

# What a function check must cover -> the check points that cover it.
SUBJECTS = {
    "inner skin": "inner-skin-surface inner-skin-penetrations",
    "outer skin felt in operation": "outer-skin-felt",
    "insulation and thermal bridges": "insulation-bridges",
    "condensate on the outer skin": "outer-skin-condensate",
    "door seals": "door-seal-seam door-seal-body",
    "hangers and their alignment": "door-hanger-rail door-alignment",
    "floor threshold": "door-threshold-bed",
    "escape door latch from inside": "escape-latch-inside",
    "escape door proof test, seal, signs": "escape-door-proof escape-sign-light",
    "free space at inlet": "stack-space-inlet",
    "free space at outlet": "stack-space-outlet",
    "spray line, nozzles and valve": "spray-line-pipe spray-nozzles spray-valve-tight",
    "water supply": "water-supply-flow",
    "supply and exhaust flaps": "supply-flaps-travel exhaust-flaps-travel",
    "fans run, rotation, reversal": "fans-run fan-rotation fan-reversal-time",
    "baffles above the stacks": "baffle-fit",
    "thermometers on both sides": "thermometers-both-sides",
    "humidity sensors on both sides": "humidity-sensors-both-sides",
    "EMC plates": "emc-plate-state",
    "psychrometer wick and trough": "psychrometer-wick psychrometer-trough",
    "electrodes, cables, connectors": "wood-electrodes-pins electrode-cables electrode-connectors",
    "heating lines and insulation": "heating-lines-leaks heating-insulation",
    "control valves": "heating-valve-shut",
    "cleanliness and mould": "cleanliness mould",
    "walkways and lighting": "walkways lighting",
    "control room": "control-room-record",
    "crew training": "crew-training",
}

# The only intervals that are published: source, unit and the longest count it allows.
PUBLISHED_DEFAULTS = {
    "trap-survey-high": ("US DOE Steam Tip Sheet 1", "month", 1),
    "trap-survey-mid": ("US DOE Steam Tip Sheet 1", "month", 3),
    "trap-survey-low": ("US DOE Steam Tip Sheet 1", "month", 12),
    "lock-out-review": ("29 CFR 1910.147(c)(6)", "month", 12),
    "burner-safety-test": ("Fire Code of the Philippines", "week", 1),
}
PUBLISHED_POINTS = {
    "steam-traps": "US DOE Steam Tip Sheet 1",
    "lock-out-points": "29 CFR 1910.147(c)(6)",
    "burner-safety": "Fire Code of the Philippines",
}

# ISO 14224:2016, Annex B.
MECHANISMS = {
    "1.1 leakage", "1.2 vibration", "1.3 clearance or alignment", "1.4 deformation", "1.5 looseness", "1.6 sticking",
    "2.1 cavitation", "2.2 corrosion", "2.3 erosion", "2.4 wear", "2.5 breakage", "2.6 fatigue", "2.7 overheating",
    "2.8 burst", "3.1 control failure", "3.2 no signal, indication or alarm", "3.3 out of adjustment",
    "3.4 software error", "3.5 common cause", "4.1 short circuit", "4.2 open circuit", "4.3 no power",
    "4.4 faulty power", "4.5 earth fault", "5.1 blockage", "5.2 contamination", "5.3 other external influence",
}  # fmt: skip


@cache
def table(name: str, folder: str = "catalogue") -> list[dict[str, str]]:
    with (FIXTURES / folder / f"{name}.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream, strict=True))


def codes(name: str) -> set[str]:
    return {row["code"] for row in table(name)}


def listed(cell: str) -> list[str]:
    """Return the codes of a list cell, without the count of a skill."""
    return [re.sub(r" x\d+$", "", entry) for entry in cell.split("; ")] if cell else []


@pytest.mark.parametrize("name", FILES)
def test_a_file_has_its_columns_and_every_row_fills_them(name: str) -> None:
    rows = table(name)
    assert rows
    for row in rows:
        assert ",".join(row) == FILES[name]
        assert None not in row.values()
        assert all(cell == cell.strip() and not cell.startswith(("=", "+", "@")) for cell in row.values())


@pytest.mark.parametrize("name", WITH_CODE)
def test_codes_are_slugs_and_unique(name: str) -> None:
    counts = Counter(row["code"] for row in table(name))
    assert [code for code, count in counts.items() if count > 1 or not SLUG.fullmatch(code)] == []


@pytest.mark.parametrize("name", WITH_SOURCE)
def test_every_row_says_its_source_and_how_sure_it_is(name: str) -> None:
    assert [row for row in table(name) if not row["source"] or row["source_status"] not in STATUSES] == []


@pytest.mark.parametrize(("name", "column", "target"), REFERENCES)
def test_every_reference_resolves(name: str, column: str, target: str) -> None:
    known = codes(target)
    assert {code for row in table(name) for code in listed(row[column])} - known == set()


@pytest.mark.parametrize(("name", "column", "allowed"), CHOICES)
def test_choices_are_known(name: str, column: str, allowed: str) -> None:
    assert {row[column] for row in table(name)} <= set(allowed.split())


@pytest.mark.parametrize("subject", SUBJECTS)
def test_a_function_check_covers(subject: str) -> None:
    assert set(SUBJECTS[subject].split()) <= codes("check_points")


def test_every_number_of_the_end_view_has_check_points_of_its_own_kind() -> None:
    number = {row["code"]: row["end_view_no"] for row in table("component_kinds")}
    assert {row["end_view_no"] for row in table("check_points")} == {str(n) for n in range(1, 13)}
    assert all(row["end_view_no"] == number[row["component_kind"]] for row in table("check_points"))


def test_every_kind_of_component_can_be_checked_and_can_fail() -> None:
    for name in ("check_points", "failure_modes"):
        assert {row["component_kind"] for row in table(name)} == codes("component_kinds")


def test_a_clad_inner_skin_is_replaced_by_the_outer_skin_felt_while_running() -> None:
    points = {row["code"]: row for row in table("check_points")}
    inner = points["inner-skin-surface"]
    assert (inner["seen_in"], points[inner["substitute_code"]]["seen_in"]) == ("open_empty", "running")
    assert all(bool(row["substitute_code"]) == bool(row["substitute_when"]) for row in points.values())


def test_a_fault_blocks_entry_at_escape_doors_and_signs_and_nowhere_else() -> None:
    blocking = {row["component_kind"] for row in table("check_points") if row["blocks_entry"] == "yes"}
    free = {row["component_kind"] for row in table("check_points") if row["blocks_entry"] == "no"}
    assert blocking == {"escape-door", "escape-sign"}
    assert not blocking & free


def test_work_and_looks_in_a_kiln_that_stands_ask_for_lock_out() -> None:
    rows = [row for row in table("task_sheets") if row["needs_state"] in ("empty", "still")]
    rows += [row for row in table("check_points") if row["seen_in"] == "open_empty"]
    assert [row["code"] for row in rows if "lock-out" not in listed(row["cautions"])] == []


def test_no_caution_of_a_running_kiln_asks_for_what_cannot_be_so_there() -> None:
    """Nobody can lock out, shut, drain or cool a kiln that runs, and nobody is inside of it."""
    beside = {row["code"]: row["beside_running"] for row in table("cautions") if "running" in row["states"]}
    assert all(beside.values()) and {"general", "beside-running", "hot-air-hatch"} <= set(beside)
    impossible = re.compile(r"lock(ed|s)? out|locked and|is drained|are shut|have stopped|tried from inside|is cool\b")
    # What must be so before a hot test is so before the fans start.
    said = {code for code, words in beside.items() if impossible.search(words.lower())}
    assert said == {"hot-chamber-shut"}
    assert not {row["code"] for row in table("cautions") if row["is_inside"] == "yes"} & set(beside)


def test_what_is_looked_at_while_the_kiln_runs_takes_nobody_inside() -> None:
    inside = {row["code"] for row in table("cautions") if row["is_inside"] == "yes"} - {"warm-chamber"}
    for row in table("check_points"):
        if row["seen_in"] != "open_empty":
            assert not inside & set(listed(row["cautions"])), row["code"]
            assert "kiln off" not in row["method"] and "locked out" not in row["method"], row["code"]


def test_looks_at_the_loaded_chamber_from_inside_warn_of_the_stacks() -> None:
    rows = [row for row in table("check_points") if "charge in place" in row["method"]]
    assert len(rows) >= 4
    assert all({"between-stacks", "lock-out"} <= set(listed(row["cautions"])) for row in rows)


def test_work_on_fans_and_steam_always_carries_its_caution() -> None:
    for row in table("task_sheets"):
        cautions = set(listed(row["cautions"]))
        if row["component_kind"] in ("fan", "fan-motor"):
            assert {"fans", "lock-out"} <= cautions
        if row["component_kind"] in ("steam-trap", "heating-valve", "spray-valve"):
            assert "steam" in cautions
        assert cautions


def test_mechanisms_stand_in_the_list_of_the_standard() -> None:
    assert {row["mechanism"] for row in table("failure_modes")} <= MECHANISMS


@pytest.mark.parametrize("name", ["check_points", "standing_defaults"])
def test_an_interval_is_published_or_the_mills_choice(name: str) -> None:
    assert {row["interval_is"] for row in table(name)} == {"published", "mill's choice"}


def test_only_the_known_defaults_are_published_and_none_is_longer_than_its_source_allows() -> None:
    published = {row["sheet"]: row for row in table("standing_defaults") if row["interval_is"] == "published"}
    assert published.keys() == PUBLISHED_DEFAULTS.keys()
    for sheet, (source, unit, longest) in PUBLISHED_DEFAULTS.items():
        assert published[sheet]["source"].startswith(source)
        assert published[sheet]["every_unit"] == unit
        assert int(published[sheet]["every"]) <= longest


def test_a_published_interval_is_never_stretched_by_a_window_or_an_anchor() -> None:
    # 29 CFR 1910.147(c)(6) says at least once in 12 months; the other sources give longest intervals too.
    for row in table("standing_defaults"):
        if row["interval_is"] == "published":
            assert row["window_after"] == "0"
            assert {row["reset_early"], row["reset_inside"], row["reset_late"]} == {"completion"}


def test_only_the_known_check_points_have_a_published_interval() -> None:
    published = {row["code"]: row["source"] for row in table("check_points") if row["interval_is"] == "published"}
    assert published.keys() == PUBLISHED_POINTS.keys()
    assert all(published[code].startswith(source) for code, source in PUBLISHED_POINTS.items())


def test_a_task_sheet_has_four_to_nine_steps_numbered_from_one() -> None:
    for sheet in codes("task_sheets"):
        numbers = [int(row["no"]) for row in table("task_steps") if row["sheet"] == sheet]
        assert numbers == list(range(1, len(numbers) + 1)), sheet
        assert 4 <= len(numbers) <= 9, sheet


def test_a_reading_has_a_unit_and_limits_in_order() -> None:
    for row in table("task_steps"):
        assert bool(row["reading_name"]) == bool(row["reading_unit"]), row
        assert row["reading_name"] or not (row["low"] or row["high"]), row
        if row["low"] and row["high"]:
            assert float(row["low"]) <= float(row["high"]), row


def test_hours_crew_and_quantities_are_above_zero() -> None:
    assert all(float(row["hours"]) > 0 and int(row["crew"]) > 0 for row in table("task_sheets"))
    assert all(float(row["quantity"]) > 0 for row in table("task_parts"))
    assert all(int(row["every"]) > 0 for row in table("standing_defaults"))


@pytest.mark.parametrize(
    ("name", "columns"),
    [
        ("task_parts", ("sheet", "part_kind")),
        ("standing_defaults", ("sheet",)),
        ("failure_modes", ("component_kind", "name")),
    ],
)
def test_a_row_stands_once(name: str, columns: tuple[str, ...]) -> None:
    counts = Counter(tuple(row[column] for column in columns) for row in table(name))
    assert [key for key, count in counts.items() if count > 1] == []


def test_shelf_lives_of_rubber_are_those_of_iso_2230() -> None:
    # ISO 2230:2002: group A 5 years, B 7, C 10; whole days, rounded down.
    years = {
        round(int(row["shelf_life_days"]) / 365.25, 1) for row in table("part_kinds") if "ISO 2230" in row["source"]
    }
    assert years == {5, 7, 10}


def test_class_b_limits_at_60_degrees_are_those_of_iec_60751() -> None:
    # IEC 60751 class B: 0.30 + 0.005 t.
    reading = next(row for row in table("task_steps") if row["reading_name"] == "Dry bulb less reference")
    assert float(reading["high"]) == pytest.approx(0.30 + 0.005 * 60)
    assert float(reading["low"]) == -float(reading["high"])


def test_a_word_stands_once_in_its_context_and_has_a_meaning() -> None:
    rows = table("words", "words")
    assert max(Counter((row["term"], row["context"]) for row in rows).values()) == 1
    assert all(row["meaning"].endswith(".") for row in rows)


def test_a_word_names_a_clause_exactly_where_it_comes_from_a_standard() -> None:
    for row in table("words", "words"):
        assert row["origin"] in {"standard", "trade", "ours"}
        assert (row["origin"] == "standard") == bool(row["clause"]), row
