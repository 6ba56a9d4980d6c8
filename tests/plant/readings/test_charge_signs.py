"""What the climate of a kiln says of its charge: recognised in simulated kilns, and not where something misleads."""

from collections import defaultdict
from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
import time_machine

from plant.models import ClimateSign, Job, Kiln
from plant.readings.calculations.charge_sign_frame import QUANTITIES, STEP_S, climate_of
from plant.readings.calculations.charge_signs import ChargeSign, charge_signs
from plant.readings.calculations.climate_frame import Frame
from plant.readings.charge_signs import TASK, notice
from tests.factories import MONDAY, KilnFactory
from tests.plant.readings.charge_sign_cases import Case, Judged, cases, judge
from tests.plant.readings.reading_things import bring, channel

LEAST_FOUND, MOST_MEDIAN_H = 0.9, 1.5


@pytest.fixture(scope="module")
def simulated() -> list[Case]:
    return cases(26, 4)


def test_what_happens_is_recognised_and_nothing_else(simulated: list[Case]) -> None:
    found: dict[ChargeSign, list[Judged]] = defaultdict(list)
    for case in simulated:
        judged, false = judge(case)
        assert false == [], case.kind
        for one in judged:
            found[one.sign].append(one)
    assert set(found) == set(ChargeSign)
    for sign, of_sign in found.items():
        assert np.mean([one.is_hit for one in of_sign]) >= LEAST_FOUND, sign
        assert np.median([one.delay_h for one in of_sign]) <= MOST_MEDIAN_H, sign


def test_an_empty_kiln_says_nothing_and_what_rests_on_the_temperature_is_not_sure(simulated: list[Case]) -> None:
    warm = [one for case in simulated if case.kind.endswith("empty kiln") for one in case.signs]
    alone = [one for case in simulated if case.make_up == "bulbs alone" for one in case.signs]
    assert warm == []
    assert alone
    assert not any(one.is_sure for one in alone)


def test_the_past_says_the_same_however_much_of_it_is_looked_at(simulated: list[Case]) -> None:
    case = next(one for one in simulated if one.make_up == "all" and one.kind == "as it should be")
    frame, whole = case.frame, case.signs
    for cut in range(0, len(frame), len(frame) // 12):
        part = replace(frame, values={key: value[:cut] for key, value in frame.values.items()}, phase=frame.phase[:cut])
        seen = charge_signs(climate_of(part))
        assert seen == [one for one in whole if one.seen_s < frame.start_s + cut * STEP_S]


def test_moments_of_another_length_are_refused() -> None:
    with pytest.raises(ValueError, match="every 300 s"):
        climate_of(Frame(0, 60, {}, np.zeros(3, np.int8)))


def test_a_kiln_without_readings_says_nothing() -> None:
    nothing = {"air_temperature": np.full(50, np.nan)}
    assert charge_signs(climate_of(Frame(0, STEP_S, nothing, np.zeros(50, np.int8)))) == []
    assert charge_signs(climate_of(Frame(0, STEP_S, {}, np.zeros(50, np.int8)))) == []


# kept


def heated(kiln: Kiln, hours: int) -> None:
    """Bring readings of a kiln that stands for six hours and is heated then, fans and valve told."""
    idle, moments = 6 * 12, np.arange(hours * 12)
    rise = np.clip((moments - idle) / 12 * 9, 0, 45)
    wobble = 0.1 * (moments % 3)
    bring(channel("air_temperature", 300, kiln), np.round(15 + rise + wobble, 1), every_s=300)
    bring(channel("heating_valve", 300, kiln), np.where(moments >= idle, 80.0, 0.0), every_s=300)
    bring(channel("fan_current:1", 300, kiln), np.where(moments >= idle, 12.0, 0.0), every_s=300)


@pytest.mark.django_db
def test_a_sign_is_kept_once_with_its_reason() -> None:
    kiln: Any = KilnFactory()
    heated(kiln, 8)
    with time_machine.travel(MONDAY + timedelta(hours=8), tick=False):
        (kept,) = notice(kiln)
        assert notice(kiln) == []
    assert (kept.kind, kept.is_sure) == ("heating", True)
    assert abs(kept.at - (MONDAY + timedelta(hours=6))) <= timedelta(minutes=10)
    assert [one.code for one in kept.why] == ["climate.rose", "climate.heat_on"]
    assert ClimateSign.objects.count() == 1


@pytest.mark.django_db
def test_the_past_in_a_file_proposes_nothing() -> None:
    kiln: Any = KilnFactory()
    heated(kiln, 8)
    with time_machine.travel(MONDAY + timedelta(days=3), tick=False):
        assert notice(kiln) == []


def test_what_is_looked_at_are_quantities_of_channels() -> None:
    from plant.physics.quantities import QUANTITIES as ALL

    assert set(ALL) >= QUANTITIES


def test_a_rise_within_minutes_of_the_lowest_air_is_no_fault() -> None:
    moments = np.arange(60)
    air = np.where(moments < 40, 12.0 + 0.1 * (moments % 3), 12.0 + 4.0 * (moments - 40))
    values = {"air_temperature": air, "heating_valve": np.where(moments < 30, 0.0, 90.0)}
    (found,) = charge_signs(climate_of(Frame(0, STEP_S, values, np.zeros(60, np.int8))))
    assert found.sign == ChargeSign.HEATING


@pytest.mark.django_db
def test_settled_readings_are_looked_at_by_a_task_of_their_own() -> None:
    from plant.tasks import look_what_happened, settle_readings

    kiln: Any = KilnFactory()
    heated(kiln, 8)
    with time_machine.travel(MONDAY + timedelta(hours=8), tick=False):
        settle_readings(lambda *_told: None, kiln.pk)
        assert Job.objects.filter(what=TASK).count() == 1
        assert look_what_happened(lambda *_told: None, kiln.pk) == {"signs": 1}
