"""A chamber's tests on the screen and on record: evaluated from readings, kept, compared and told in words."""

from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import numpy as np
import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext

from maintenance.chamber_tests.calculations.figures import Refusal, Why
from maintenance.chamber_tests.chart import year_chart
from maintenance.chamber_tests.running import COOLING, POWER, TestHours, evaluate_chamber_test
from maintenance.chamber_tests.words import (
    REFUSALS,
    Climate,
    change_words,
    fans_words,
    refusal_words,
    refused_words,
    verdict,
)
from maintenance.models import ChamberTest
from plant import clock
from plant.basics.periods import from_epoch_s
from plant.models import Change, Channel, Kiln, Mill, Reading
from tests.factories import ChargeFactory, KilnFactory, MillFactory, TaskSheetFactory, UserFactory, WorkOrderFactory
from tests.maintenance.chamber_tests import chamber_cases
from tests.maintenance.chamber_tests.chamber_cases import Case, cool_case, tight_case, warm_case
from tests.maintenance.mill import signed_in

pytestmark = pytest.mark.django_db

URL = "/kilns/K1/chamber-tests/"


@pytest.fixture(autouse=True)
def _after_the_tests(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: from_epoch_s(chamber_cases.BEGIN_S + 5 * 86_400))


def a_kiln_with(case: Case, tag: str = "K1") -> Kiln:
    """A kiln whose channels hold the readings of a simulated test."""
    kiln: Kiln = KilnFactory(tag=tag)
    frame, rows = case.frame(), []
    for key, values in frame.values.items():
        quantity, _, place = key.partition(":")
        channel = Channel.objects.create(kiln=kiln, quantity=quantity, place=place, every_s=300)
        for at_s, value in zip(frame.moments_s[::5], values[::5], strict=True):
            if not np.isnan(value):
                rows.append(Reading(channel=channel, at_s=int(at_s), value=float(value)))
    Reading.objects.bulk_create(rows)
    return kiln


def at_h(hours: float) -> datetime:
    return from_epoch_s(chamber_cases.BEGIN_S) + timedelta(hours=hours)


def asked(case: Case, kind: str, **fields: Any) -> TestHours:
    usual = {"key": uuid4(), "kind": kind, "fans": "on", "begin_at": at_h(case.from_h), "end_at": at_h(case.until_h)}
    return TestHours(**{**usual, **fields})


def master() -> Any:
    return UserFactory(username="ilse", role="kiln_master")


def test_a_leak_is_found_again_from_the_readings_of_the_hours() -> None:
    case = tight_case()
    kiln = a_kiln_with(case)
    test = evaluate_chamber_test(kiln, asked(case, "tightness", volume_m3=320.0, note="calm night"), by=master())
    assert test.low is not None and test.high is not None
    used = slice(*(((test.details[name] - chamber_cases.BEGIN_S) // 60) for name in ("used_from_s", "used_until_s")))
    assert test.low <= case.run.truth["air_changes_per_h"][used].mean() <= test.high
    assert (test.high - test.low) < 0.2 * test.low
    assert Change.objects.about(test).count() == 1
    said = verdict(test, Climate.of(None), kiln.mill, None)
    assert said[0].startswith("The shut chamber changes its air") and "kWh a day" in said[1]


def test_heat_loss_is_found_by_power_and_by_cooling() -> None:
    warm = a_kiln_with(warm_case())
    by_power = evaluate_chamber_test(warm, asked(warm_case(), "heat_loss", method=POWER), by=master())
    assert by_power.value is not None and by_power.low is not None and by_power.high is not None
    assert by_power.low <= warm_case().design.loss_w_k * 1.5 and by_power.high >= warm_case().design.loss_w_k
    cold = a_kiln_with(cool_case(), "K2")
    told = asked(cool_case(), "heat_loss", method=COOLING, capacity_mj_k=6.0, capacity_within_pct=10.0)
    by_cooling = evaluate_chamber_test(cold, told, by=master())
    assert by_cooling.value is not None and by_cooling.details["time_constant_h"] > 1
    assert "time constant" in " ".join(verdict(by_cooling, Climate.of(None), cold.mill, None))


def test_timber_inside_is_refused_and_the_refusal_is_kept() -> None:
    case = tight_case()
    kiln = a_kiln_with(case)
    ChargeFactory(kiln=kiln, begin_at=at_h(-20), days=4, basis="running")
    test = evaluate_chamber_test(kiln, asked(case, "tightness"), by=master())
    assert (test.value, test.refused_why, test.details["why"]) == (None, "timber", "timber")
    assert refused_words(test, kiln.mill).startswith("Timber was inside")


def test_hours_without_readings_are_refused() -> None:
    kiln = KilnFactory(tag="K1")
    test = evaluate_chamber_test(kiln, asked(tight_case(), "tightness"), by=master())
    assert test.refused_why == "no_temperature"
    assert refused_words(test, kiln.mill) == "No thermometer in the chamber has readings of these hours."


def test_a_refusal_of_earlier_versions_is_shown_in_its_own_words() -> None:
    test = ChamberTest(refused_why="A door stood open for about 35 minutes.", details={})
    assert refused_words(test, KilnFactory(tag="K1").mill) == "A door stood open for about 35 minutes."


def test_the_same_form_sent_twice_is_one_test_and_nothing_alters_it() -> None:
    kiln = KilnFactory(tag="K1")
    hours, by = asked(tight_case(), "tightness"), master()
    first = evaluate_chamber_test(kiln, hours, by=by)
    assert evaluate_chamber_test(kiln, hours, by=by) == first
    assert ChamberTest.objects.count() == 1
    for change in (lambda: ChamberTest.objects.update(note="other"), lambda: ChamberTest.objects.all().delete()):
        with pytest.raises(DatabaseError), transaction.atomic():
            change()


@pytest.mark.parametrize(
    ("fields", "refusal"),
    [
        ({"end_at": at_h(6.2)}, "at least an hour"),
        ({"end_at": at_h(6 + 24 * 6)}, "at most five days"),
        ({"begin_at": at_h(119), "end_at": at_h(121)}, "lies ahead"),
        ({"kind": "heat_loss", "method": COOLING}, "enter the heat capacity"),
    ],
)
def test_hours_that_cannot_be_a_test_are_refused(fields: dict[str, Any], refusal: str) -> None:
    kiln = KilnFactory(tag="K1")
    with pytest.raises(ValidationError, match=refusal):
        evaluate_chamber_test(kiln, asked(tight_case(), fields.pop("kind", "tightness"), **fields), by=master())
    assert not ChamberTest.objects.exists()


def test_a_storekeeper_evaluates_nothing() -> None:
    kiln = KilnFactory(tag="K1")
    with pytest.raises(PermissionDenied):
        evaluate_chamber_test(kiln, asked(tight_case(), "tightness"), by=UserFactory(username="t", role="storekeeper"))


def test_every_reason_has_its_words() -> None:
    facts = dict.fromkeys(
        ("minutes", "worst", "hours", "excess_g_kg", "humidity_pct", "rise_k", "drift_k", "change_pct", "low", "high"),
        1.0,
    )
    mill: Mill = MillFactory()
    assert set(REFUSALS) == set(Why)
    for why in Why:
        said = refusal_words(Refusal(why, {**facts, "apart_k": 3.25}), mill)
        assert said.endswith(".") and "%(" not in said
    assert "3.3 K apart" in refusal_words(Refusal(Why.SENSORS, {"apart_k": 3.26}), mill)
    mill.temperature_unit = Mill.TemperatureUnit.FAHRENHEIT
    assert "5.9 °F apart" in refusal_words(Refusal(Why.SENSORS, {"apart_k": 3.26}), mill)
    # Where timber was known by its charge, there is no number.
    assert refusal_words(Refusal(Why.TIMBER), mill).startswith("Timber was inside")


def a_figure(kiln: Kiln, year: int, value: float, half: float, kind: str = "tightness", **fields: Any) -> ChamberTest:
    begin_at = datetime(year, 6, 1, 20, tzinfo=kiln.mill.zone)
    usual = {"fans": "on", "details": {"volume_m3": 300.0}, "note": "", "at": begin_at}
    found: ChamberTest = ChamberTest.objects.create(
        key=uuid4(), kiln=kiln, kind=kind, begin_at=begin_at, end_at=begin_at + timedelta(hours=6), value=value,
        low=value - half, high=value + half, **{**usual, **fields},
    )  # fmt: skip
    return found


def test_a_figure_is_compared_with_the_one_before_by_both_bounds() -> None:
    kiln = KilnFactory(tag="K1")
    before = a_figure(kiln, 2024, 0.30, 0.03)
    assert "something gave way" in change_words(a_figure(kiln, 2025, 0.40, 0.03), before)
    assert change_words(a_figure(kiln, 2025, 0.33, 0.03), before).startswith("No difference")
    assert change_words(a_figure(kiln, 2025, 0.20, 0.03), before).startswith("Less")


def test_leaks_with_fans_on_and_off_are_compared(client: Client) -> None:
    kiln = KilnFactory(tag="K1")
    on = a_figure(kiln, 2025, 0.50, 0.03)
    assert "press out 40 % of it" in fans_words(on, a_figure(kiln, 2025, 0.30, 0.03, fans="off"))
    assert "no difference" in fans_words(on, a_figure(kiln, 2025, 0.48, 0.03, fans="off"))
    page = signed_in(client, master()).get(URL).content.decode()
    # The newest with its fans on leads, and says what they add.
    assert "Tightness: 0.50 air changes an hour." in page and "With the fans off it was 0.48" in page


def test_the_verdict_names_its_climate_and_what_heat_costs() -> None:
    kiln = KilnFactory(tag="K1")
    Mill.objects.update(energy_price_per_kwh="0.1", currency="EUR")
    mill = Mill.objects.get()
    said = " ".join(verdict(a_figure(kiln, 2025, 0.5, 0.05), Climate.of(None), mill, None))
    # 0.5 x 300 m3 an hour of air of 60/55 degC against 5 degC and 80 % RH: 0.0361 kg/s of dry air x 296 kJ/kg x 24 h.
    assert "150 m³ of chamber air an hour" in said
    kwh = float(said.split(" it takes ")[1].split(" kWh")[0])
    assert kwh == pytest.approx(0.5 * 300 / 3600 * 0.8973 * (353 - 16) / 3600 * 86_400, rel=0.05)
    assert f"some {round(kwh / 10)} EUR" in said and "60" in said and "55" in said


def test_the_drawing_has_a_mark_for_each_figure_and_other_shapes_without_fans() -> None:
    kiln = KilnFactory(tag="K1")
    tests = [a_figure(kiln, year, 0.3, 0.05) for year in (2022, 2024)] + [a_figure(kiln, 2025, 0.2, 0.05, fans="off")]
    chart = year_chart(tests, kiln.mill.zone)
    assert chart is not None
    drawn = str(chart.drawing)
    assert (drawn.count("<circle"), drawn.count('class="figure figure-off"')) == (2, 1)
    assert all(f">{year}<" in drawn for year in (2022, 2023, 2024, 2025))
    assert "3 figures by year" in chart.sentence
    assert year_chart([], kiln.mill.zone) is None


# the page


def sent(case: Case, **fields: Any) -> dict[str, Any]:
    zone = Mill.objects.get().zone
    said = {
        "key": str(uuid4()),
        "kind": "tightness",
        "fans": "on",
        "begin_at": at_h(case.from_h).astimezone(zone).strftime("%Y-%m-%dT%H:%M"),
        "end_at": at_h(case.until_h).astimezone(zone).strftime("%Y-%m-%dT%H:%M"),
        "method": "power",
    }
    return {**said, **fields}


def test_a_night_is_evaluated_on_the_page_and_stands_there_in_words(client: Client) -> None:
    kiln = a_kiln_with(tight_case())
    order = WorkOrderFactory(kiln=kiln, sheet=TaskSheetFactory(code="chamber-tightness-test"), number="WO-7")
    signed_in(client, master())
    assert "no figure yet" in client.get(URL).content.decode()
    data = sent(tight_case(), volume_m3="320,5", work_order=order.number)
    answer = client.post(f"{URL}evaluate/", data, follow=True)
    page = answer.content.decode()
    assert answer.status_code == 200 and "Found:" in page and "kWh a day" in page and "WO-7" in page
    test = ChamberTest.objects.get()
    assert test.work_order == order and test.details["volume_m3"] == 320.5
    # The next form starts from what was said of the chamber.
    assert 'value="320.5"' in client.get(URL).content.decode()


def test_a_refused_night_says_why(client: Client) -> None:
    KilnFactory(tag="K1")
    answer = signed_in(client, master()).post(f"{URL}evaluate/", sent(tight_case()), follow=True)
    assert "There is no figure: No thermometer" in answer.content.decode()


@pytest.mark.parametrize(
    "fields",
    [
        {"begin_at": "nonsense"},
        {"begin_at": "1066-01-01T00:00"},
        {"end_at": ""},
        {"kind": "colour"},
        {"fans": "perhaps"},
        {"volume_m3": "NaN"},
        {"volume_m3": "1e400"},
        {"volume_m3": "-3"},
        {"key": "no-uuid"},
        {"work_order": "WO-of-another-kiln"},
        {"note": "x" * 5000},
        {"kind": "heat_loss", "method": "cooling", "capacity_mj_k": "", "capacity_within_pct": "5"},
    ],
)
def test_bad_input_is_told_and_nothing_is_kept(client: Client, fields: dict[str, str]) -> None:
    KilnFactory(tag="K1")
    answer = signed_in(client, master()).post(f"{URL}evaluate/", sent(tight_case(), **fields))
    assert answer.status_code == 422
    assert 'role="alert"' in answer.content.decode()
    assert not ChamberTest.objects.exists()


def test_who_may_only_look_finds_no_form(client: Client) -> None:
    KilnFactory(tag="K1")
    signed_in(client, UserFactory(username="siv", role="auditor"))
    page = client.get(URL)
    assert page.status_code == 200 and "Evaluate" not in page.content.decode()
    assert client.post(f"{URL}evaluate/", {}).status_code == 403
    assert client.get("/kilns/K99/chamber-tests/").status_code == 404


def test_the_page_takes_as_many_queries_for_many_tests_as_for_few(client: Client) -> None:
    kiln = KilnFactory(tag="K1")
    signed_in(client, master())

    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as seen:
            client.get(URL)
        return len(seen)

    a_figure(kiln, 2019, 0.3, 0.05)
    a_figure(kiln, 2019, 300, 20, "heat_loss")
    few = queries()
    for year in range(2020, 2026):
        a_figure(kiln, year, 0.3, 0.05)
        a_figure(kiln, year, 300, 20, "heat_loss")
    assert queries() == few
