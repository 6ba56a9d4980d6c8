"""Watches as rows of text, the set that ships, and what they make of a kiln's past."""

import csv
import itertools
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from maintenance.watches.calculations.rows import (
    COLUMNS,
    RULES,
    WatchError,
    WatchSpec,
    for_kiln,
    parse_watch,
    parse_watches,
    rule_from,
    rule_parameters,
)
from maintenance.watches.calculations.rule_kinds import Limit, Message
from maintenance.watches.calculations.rules import Firing
from plant.readings.calculations.climate_frame import PHASE_CODES, Frame
from tests.maintenance.watches.watch_past import fired_over

CATALOGUE = Path(__file__).resolve().parents[3] / "fixtures" / "catalogue"
DAY_S = 86_400
KEYS = [
    "air_temperature:left", "air_temperature:right", "wet_bulb:left", "wet_bulb:right", "emc:1", "wood_moisture:1",
    "wood_moisture:2", "set_air_temperature", "set_wet_bulb", "heating_valve", "spray_valve", "flap_position",
    "fan_direction", "fan_current:1", "fan_current:2", "heat_power",
]  # fmt: skip


def rows_of(name: str) -> list[dict[str, str]]:
    with (CATALOGUE / f"{name}.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def shipped() -> tuple[WatchSpec, ...]:
    return parse_watches(rows_of("watches"))


def row(**changes: str) -> dict[str, str]:
    """Return a sound row with some columns changed."""
    sound = {
        "code": "too-warm", "name": "Too warm", "signal": "dry_bulb_above_set", "rule": "limit",
        "parameters": "side=above; limit=5; clear=2; hold_minutes=30", "phases": "drying; conditioning",
        "component_kind": "heating-valve", "failure_modes": "heating-valve-leaks", "severity": "notice",
        "agrees_within_days": "14", "task_sheet": "heating-valve-seat", "sentence": "Too warm by {value} {unit}.",
        "loss_kind": "", "due_days": "7", "safety_days": "", "source": "ours", "source_status": "common practice",
    }  # fmt: skip
    return sound | changes


def test_the_set_that_ships_points_into_the_catalogue() -> None:
    kinds = {one["code"] for one in rows_of("component_kinds")}
    sheets = {one["code"] for one in rows_of("task_sheets")}
    modes = {one["code"] for one in rows_of("failure_modes")}
    for spec in shipped():
        assert spec.component_kind in kinds, spec.code
        assert spec.task_sheet in sheets, spec.code
        assert spec.failure_modes, spec.code
        assert set(spec.failure_modes) <= modes, spec.code


def test_the_set_that_ships_hears_what_the_mill_was_promised() -> None:
    codes = {spec.code for spec in shipped()}
    assert codes >= {
        "wick-dry", "wick-drift", "plate-drift", "thermometers-apart", "spray-no-effect", "humidity-lost",
        "flap-stuck-open", "flap-stuck-shut", "heating-valve-leaks", "heating-valve-stuck", "heat-up-slower",
        "fan-stopped", "fan-low", "fan-not-reversing", "electrode-open", "electrode-jump", "no-data",
    }  # fmt: skip


def test_a_drift_or_trend_alone_is_a_hint_and_has_a_second_rule_to_agree_with() -> None:
    per_charge = [spec for spec in shipped() if spec.is_per_charge]
    assert per_charge
    for spec in per_charge:
        assert spec.severity == "notice", spec.code
        others = [other for other in shipped() if other.component_kind == spec.component_kind and other != spec]
        assert others, spec.code


def test_codes_stay_short_enough_with_every_place() -> None:
    assert all(len(spec.code) <= 48 for spec in shipped())


def test_a_rule_goes_into_its_parameters_and_back() -> None:
    for spec in shipped():
        assert rule_from(spec.rule_name, rule_parameters(spec.rule)) == spec.rule


def test_parameters_come_as_text_numbers_or_lists() -> None:
    assert (
        rule_from("message", {"numbers": "12 40"}) == rule_from("message", {"numbers": [12, 40]}) == Message((12, 40))
    )
    assert rule_from("limit", {"side": "below", "limit": "-1.5", "clear": 0}) == Limit("below", -1.5, 0)
    assert rule_from("running_since", {"charges": 50}) == RULES["running_since"](charges=50)  # type: ignore[call-arg]
    spec = parse_watch(row(rule="message", signal="message", parameters="numbers=12 40"))
    assert spec.rule == Message((12, 40))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"code": "Too Warm"}, "not made of"),
        ({"code": "x" * 60}, "at most 48"),
        ({"name": ""}, "name is empty"),
        ({"signal": "steam"}, "'steam' is not known"),
        ({"signal": "dry_bulb_above_set:left"}, "has no place"),
        ({"rule": "guess"}, "rule 'guess' is not known"),
        ({"rule": "drift", "parameters": "chart=cusum"}, "figure 'dry_bulb_above_set' is not known"),
        ({"parameters": "side=above; limit=5"}, "lacks the parameter 'clear'"),
        ({"parameters": "side=above; limit=5; clear=2; colour=3"}, "no parameter 'colour'"),
        ({"parameters": "side=up; limit=5; clear=2"}, "'up' is none of above, below"),
        ({"parameters": "side=above; limit=nan; clear=2"}, "'nan' is no number"),
        ({"parameters": "side=above; limit=1e99; clear=2"}, "'1e99' is no number"),
        ({"parameters": "side=above; limit=" + "9" * 5000 + "; clear=2"}, "is no number"),
        ({"parameters": "side=above; limit=5; clear=9"}, "lies beyond the limit"),
        ({"parameters": "side above"}, "not written name=value"),
        ({"parameters": "side=above; side=below; limit=1; clear=1"}, "stands twice"),
        ({"rule": "k_of_n", "parameters": "side=above; limit=5; k=1.5; n=3"}, "no whole number"),
        ({"phases": "drying; resting"}, "phase 'resting' is not known"),
        ({"severity": "alarm"}, "neither notice nor work_order"),
        ({"sentence": "By {value} in {colour}."}, "{colour}"),
        ({"loss_kind": "gold"}, "loss kind 'gold' is not known"),
        ({"due_days": "soon"}, "'soon' is no number"),
        ({"due_days": "-1"}, "due_days -1 is outside"),
        ({"safety_days": "99999"}, "safety_days 99999 is outside"),
    ],
)
def test_a_faulty_row_is_refused_with_the_reason(changes: dict[str, str], words: str) -> None:
    with pytest.raises(WatchError) as refused:
        parse_watches([row(code="sound"), row(**changes)])
    (fault,) = refused.value.faults
    assert fault.startswith("row 2 ")
    assert words in fault


def test_every_faulty_row_is_named_and_codes_stand_once() -> None:
    lacking = {name: value for name, value in row().items() if name != "phases"}
    with pytest.raises(WatchError) as refused:
        parse_watches([row(), row(), row(code="b", severity="alarm"), lacking])
    assert [fault.partition(" (")[0] for fault in refused.value.faults] == ["row 2", "row 3", "row 4"]
    assert "lacks phases" in refused.value.faults[2]


def test_the_columns_are_those_of_the_file() -> None:
    assert list(rows_of("watches")[0]) == list(COLUMNS)


def test_a_kiln_gets_the_watches_that_its_channels_serve_one_for_each_place() -> None:
    codes = {spec.code for spec in for_kiln(shipped(), KEYS)}
    assert {"wick-dry-left", "wick-dry-right", "fan-stopped-1", "plate-drift-1", "no-data"} <= codes
    assert "wick-dry-alone" not in codes
    poor = for_kiln(shipped(), ["air_temperature", "wet_bulb", "set_wet_bulb", "flap_position"])
    assert {spec.code for spec in poor} == {
        "wick-dry-alone", "flap-stuck-open", "flap-stuck-shut", "no-data", "bulb-silent", "wet-bulb-silent",
    }  # fmt: skip
    assert all("*" not in spec.signal for spec in itertools.chain(poor, for_kiln(shipped(), KEYS)))


def test_a_place_stands_in_code_name_and_place() -> None:
    (left, _right) = for_kiln([spec for spec in shipped() if spec.code == "wick-dry"], KEYS)
    assert (left.code, left.place, left.signal) == ("wick-dry-left", "left", "wet_bulb_excess:left")
    assert left.name.endswith("(left)")


def kilns_past() -> Frame:
    """Return two days of a kiln whose left wick dries out on the first day and whose first fan stops on the second."""
    count, step_s = 2 * 288, 300
    moments = np.arange(count)
    way = np.where(moments // 36 % 2 == 0, 1.0, -1.0)
    wet = np.where(moments >= 100, 59.0, 50.0)
    values = dict.fromkeys(KEYS, np.full(count, 50.0)) | {
        "air_temperature:left": np.full(count, 60.0),
        "air_temperature:right": np.full(count, 60.0),
        "set_air_temperature": np.full(count, 60.0),
        "wet_bulb:left": np.where(moments >= 160, 50.0, wet),
        "fan_direction": way,
        "fan_current:1": np.where(moments >= 400, 0.0, 10.0),
        "fan_current:2": np.full(count, 10.0),
    }
    return Frame(1_700_000_000 // step_s * step_s, step_s, values, np.full(count, PHASE_CODES["drying"], dtype=np.int8))


def firings_of(block: int) -> Iterator[tuple[str, Firing]]:
    frame = kilns_past()
    for code, firings in fired_over(for_kiln(shipped(), KEYS), frame, block=block).items():
        yield from ((code, firing) for firing in firings)


def test_the_past_tells_the_same_in_blocks_of_any_size() -> None:
    whole = list(firings_of(10_000))
    codes = {code for code, _firing in whole}
    assert codes >= {"wick-dry-left", "wick-drying-left", "fan-stopped-1", "fan-low-1"}
    assert not codes & {"wick-dry-right", "wick-drying-right", "fan-stopped-2", "fan-low-2"}
    for block in (13, 100, 577):
        for (code, firing), (other_code, other) in zip(whole, firings_of(block), strict=True):
            assert (code, firing.since_s, firing.begin_s, firing.end_s) == (
                other_code, other.since_s, other.begin_s, other.end_s,
            )  # fmt: skip
            assert firing.worst == pytest.approx(other.worst)


def test_a_block_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="block of 0"):
        fired_over([], kilns_past(), block=0)
