"""The page of a kiln's climate: its stretch, units, lines, table, files and what stands beside them."""

from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from maintenance.models import Firing, Watch
from plant.basics.sentences import typed
from plant.models import Channel, ChannelDay, Charge, ChargeFigure, Kiln, Mill, Reading, Unsettled
from plant.readings.settling import settle
from tests.factories import MONDAY, ChannelFactory, ChargeFactory, KilnFactory, UserFactory, WorkOrderFactory
from tests.maintenance.mill import signed_in
from tests.maintenance.watching_mill import MONDAY_S, stand_at, write

pytestmark = pytest.mark.django_db
HEATING_S = MONDAY_S + 2 * 3600
PAGE = "/kilns/K1/climate/"
FILE = "/kilns/K1/climate.csv"


@pytest.fixture(autouse=True)
def _next_monday(monkeypatch: pytest.MonkeyPatch) -> None:
    stand_at(monkeypatch, MONDAY_S + 7 * 86_400)


@pytest.fixture
def master(client: Client) -> Client:
    return signed_in(client, UserFactory(role="kiln_master"))


@pytest.fixture
def kiln() -> Kiln:
    """A kiln with a psychrometer on the left, a charge from Monday on, and readings while it heats up."""
    kiln: Kiln = KilnFactory()
    for quantity, place in (("air_temperature", "left"), ("wet_bulb", "left"), ("fan_direction", "")):
        ChannelFactory(kiln=kiln, quantity=quantity, place=place)
    ChargeFactory(kiln=kiln, number="C7", basis="done")
    write(kiln, HEATING_S, 240, air_temperature__left=lambda m: 20 + m / 10, wet_bulb__left=18, fan_direction=1)
    return kiln


def show(client: Client, **query: str) -> Any:
    response = client.get(PAGE, query)
    assert response.status_code == 200
    return response


def text(response: Any) -> str:
    return " ".join(response.content.decode().split())


def lines(response: Any) -> dict[str, list[str]]:
    return {band.code: [line.name for line in band.lines] for band in response.context["page"].chart.bands}


# What is shown.


def test_it_opens_on_the_last_charge_with_its_phases_and_bands(master: Client, kiln: Kiln) -> None:
    response = show(master)
    page = response.context["page"]
    assert (page.from_at, page.charge.number) == (MONDAY, "C7")
    assert [shade.kind for shade in page.shades] == [
        "loading",
        "heating_up",
        "drying",
        "conditioning",
        "cooling",
        "unloading",
    ]
    assert lines(response) == {
        "temperatures": ["air temperature left", "wet-bulb temperature left"],
        "humidity": ["EMC left, from the psychrometer"],
        "direction": ["direction of the air"],
    }
    assert "720 readings, 0 of them left out of the rules. No watch spoke up." in text(response)
    assert 'aria-label="Temperatures: air temperature left 20.0 to 43.9 °C' in text(response)


def test_a_charge_is_chosen_by_its_number_and_has_its_neighbours_beside_it(master: Client, kiln: Kiln) -> None:
    ChargeFactory(kiln=kiln, number="C6", basis="done", begin_at=datetime.fromisoformat("2026-02-20T06:00Z"))
    response = show(master, charge="C6")
    assert response.context["page"].charge.number == "C6"
    assert "After: C7" in text(response)
    assert "Before:" not in text(response)
    assert "No charge C99 of K1 was begun" in text(show(master, charge="C99"))


def test_a_charge_under_way_is_shown_as_far_as_it_has_come(
    master: Client, kiln: Kiln, monkeypatch: pytest.MonkeyPatch
) -> None:
    Charge.objects.update(basis="running")
    stand_at(monkeypatch, HEATING_S + 3 * 3600)
    page = show(master).context["page"]
    assert (page.until_at - page.from_at).total_seconds() == 5 * 3600


def test_a_charge_not_reported_as_unloaded_is_over_once_the_next_was_begun(master: Client, kiln: Kiln) -> None:
    Charge.objects.update(basis="running")
    last = Charge.objects.get()
    assert show(master, charge="C7").context["page"].until_at > last.end_at
    ChargeFactory(kiln=kiln, number="C8", basis="running", begin_at=last.end_at)
    assert show(master, charge="C7").context["page"].until_at == last.end_at


def test_a_stretch_of_the_clock_is_read_in_the_mills_time_or_with_an_offset(master: Client, kiln: Kiln) -> None:
    typed = show(master, **{"from": "2026-03-02T09:00", "until": "2026-03-02T11:00"}).context["page"]
    linked = show(master, **{"from": "2026-03-02T08:00:00Z", "until": "2026-03-02T10:00:00Z"}).context["page"]
    assert (typed.span.from_s, typed.span.until_s) == (linked.span.from_s, linked.span.until_s)
    assert typed.span.from_s == HEATING_S
    assert typed.charge.number == "C7"


def test_a_long_stretch_belongs_to_no_charge_and_is_drawn_from_days_in_short(master: Client, kiln: Kiln) -> None:
    channel = Channel.objects.get(quantity="air_temperature")
    ChannelDay.objects.create(channel=channel, day="2026-02-03", readings=9, marked=0, low=20, mean=40, high=60)
    response = show(master, **{"from": "2025-12-20T00:00", "until": "2026-03-09T00:00"})
    page = response.context["page"]
    assert page.is_by_days
    assert page.charge is None
    assert lines(response) == {"temperatures": ["air temperature left"]}
    assert "Days in short" in text(response)


def test_a_day_of_the_calendar_is_a_day_also_when_the_clock_changes(master: Client, kiln: Kiln) -> None:
    ways = show(master, **{"from": "2025-10-26T10:00", "until": "2025-10-26T14:00"}).context["ways"]
    day = next(way for way in ways.lengths if way.word == "Day")
    assert day.query == "?from=2025-10-25T22%3A00%3A00Z&until=2025-10-26T23%3A00%3A00Z"
    response = master.get(PAGE + day.query)
    assert [way.word for way in response.context["ways"].lengths if way.is_here] == ["Day"]
    assert [tick.word for tick in response.context["page"].chart.ticks][1:4] == ["03:00", "06:00", "09:00"]


@pytest.mark.parametrize(
    ("first", "last", "message"),
    [
        ("yesterday", "2026-03-02T11:00", "Write From as day and time"),
        ("1970-01-01T00:00", "2026-03-02T11:00", "between 2000 and 2100"),
        ("2026-03-02T11:00", "2026-03-02T11:05", "at least 10 minutes"),
        ("2001-03-02T11:00", "2026-03-02T11:05", "at most 5 years"),
        ("2026-03-02T11:00", "", "Say both from when and until when."),
    ],
)
def test_a_stretch_that_cannot_be_shown_is_refused_with_the_reason_and_what_was_typed(
    master: Client, kiln: Kiln, first: str, last: str, message: str
) -> None:
    page = text(show(master, **{"from": first, "until": last}))
    assert message in page
    assert f'value="{first}"' in page


def test_units_are_chosen_in_the_address_and_stay_in_every_link(master: Client, kiln: Kiln) -> None:
    response = show(master, t="f", humidity="depression")
    page = text(response)
    assert "111.0 °F" in page
    assert "Wet-bulb depression" in page
    assert all(way.query.count("t=f") == 1 for way in response.context["ways"].lengths)
    assert [way.is_here for way in response.context["ways"].temperatures] == [False, True]
    assert "t=c" in response.context["ways"].temperatures[0].query
    assert "EMC left" in text(show(master, humidity="nonsense"))


def test_a_mill_that_reads_fahrenheit_begins_with_it(master: Client, kiln: Kiln) -> None:
    Mill.objects.update(temperature_unit="degF")
    response = show(master)
    assert "111.0 °F" in text(response)
    assert "t=" not in response.context["ways"].whole.query


def test_marked_readings_are_drawn_apart_with_the_reason(master: Client, kiln: Kiln) -> None:
    Reading.objects.filter(channel__quantity="wet_bulb", at_s__gte=HEATING_S + 200 * 60).update(value=900, marks=1)
    response = show(master)
    wet = response.context["page"].chart.bands[0].lines[1]
    assert (wet.marked, wet.marked_why) == (40, "no sensor here can read that: 40")
    assert "40 readings are left out of the rules" in text(response)
    assert response.context["page"].chart.bands[0].ticks[-1].word == "50"


def test_settled_readings_have_their_days(master: Client, kiln: Kiln) -> None:
    Unsettled.objects.create(kiln=kiln, from_s=HEATING_S, until_s=HEATING_S + 240 * 60)
    settle(kiln)
    page = text(show(master, **{"from": "2026-03-05T00:00", "until": "2026-03-06T00:00"}))
    assert "No sensor said anything from 5 Mar 2026 00:00" in page
    assert "The last day with readings is 2 Mar 2026." in page
    assert "from=2026-03-02T00:00&amp;until=2026-03-02T23:59" in page


# What stands beside the chart.


def fired(kiln: Kiln, **facts: Any) -> Firing:
    watch, _is_new = Watch.objects.get_or_create(
        kiln=kiln, code="wick-dry", defaults={"name": "Wick dry", "severity": "work_order", "sentence": "Dry."}
    )
    return Firing.objects.create(
        watch=watch, noticed_at=MONDAY, sentence=typed("The wick is dry."), **{"begin_at": MONDAY, **facts}
    )


def test_what_watches_raised_is_marked_on_the_chart_and_listed_with_its_work(master: Client, kiln: Kiln) -> None:
    order = WorkOrderFactory(kiln=kiln, number="WO-0412")
    firing = fired(kiln, begin_at=datetime.fromisoformat("2026-03-02T10:00Z"), work_order=order)
    fired(kiln, begin_at=MONDAY - timedelta(days=9), end_at=MONDAY - timedelta(days=8))
    response = show(master)
    (mark,) = response.context["page"].firings
    assert (mark.number, mark.lane) == (1, 0)
    assert mark.left == pytest.approx(100 * 4 / 120, abs=0.1)
    page = text(response)
    assert f"#firing-{firing.pk}" in page
    assert "WO-0412" in page
    assert "Watches spoke up once." in page


def test_marks_that_would_lie_on_each_other_stand_below_one_another(master: Client, kiln: Kiln) -> None:
    for minute in (0, 1, 2):
        fired(kiln, begin_at=datetime.fromisoformat(f"2026-03-02T10:0{minute}Z"))
    page = show(master).context["page"]
    assert [mark.lane for mark in page.firings] == [0, 1, 2]
    assert page.lanes == 3


def test_the_figures_of_a_charge_stand_beside_what_is_usual(master: Client, kiln: Kiln) -> None:
    charge = Charge.objects.get()
    for weeks, hours in ((1, 8.0), (2, 9.0), (3, 14.0)):
        earlier = ChargeFactory(kiln=kiln, basis="done", begin_at=MONDAY - timedelta(weeks=weeks))
        ChargeFigure.objects.create(charge=earlier, code="heat_up_h", value=hours)
    ChargeFigure.objects.create(charge=charge, code="heat_up_h", value=10.5)
    ChargeFigure.objects.create(charge=charge, code="evaporation", value=None, why_not=typed("No electrode."))
    rows = show(master, charge="C7").context["figures"]
    assert [(row.value, row.usual) for row in rows] == [("10.5 h", "9.0 h"), ("", "")]
    assert rows[1].why_not == "No electrode."


# Table and files.


def test_the_table_is_one_click_away_over_the_same_stretch(master: Client, kiln: Kiln) -> None:
    assert "<tbody>" not in text(show(master))
    response = show(master, table="1", **{"from": "2026-03-02T09:00", "until": "2026-03-02T13:00"})
    assert response.context["table"].begins_s[0] == HEATING_S
    assert response.context["rows"][0][1][:2] == ["20.2", "18.0"]
    assert "from the left" in response.context["rows"][0][1]


def csv_of(response: Any) -> list[str]:
    assert response["Content-Type"].startswith("text/csv")
    return list(response.content.decode("utf-8-sig").splitlines())


def test_the_file_has_means_and_extremes(master: Client, kiln: Kiln) -> None:
    rows = csv_of(master.get(FILE, {"from": "2026-03-02T09:00", "until": "2026-03-02T13:00"}))
    assert rows[0].startswith("from,air temperature left °C mean,air temperature left °C lowest")
    assert rows[1].startswith("2026-03-02 09:00,20.20,20.00,20.40,18.00")


def test_every_reading_goes_out_as_it_is_kept_with_the_reason_of_its_mark(master: Client, kiln: Kiln) -> None:
    Reading.objects.filter(channel__quantity="wet_bulb", at_s=HEATING_S).update(value=-1.5, marks=5)
    rows = csv_of(master.get(FILE, {"every": "1", "charge": "C7", "t": "f"}))
    assert len(rows) == 1 + 3 * 240
    marked = "no sensor here can read that; the value stands still"
    assert f"2026-03-02 09:00:00,2026-03-02T08:00:00Z,wet_bulb:left,-1.5,degC,{marked}" in rows


# Empty states, access, speed.


def test_a_kiln_without_sensors_says_what_to_do(master: Client) -> None:
    KilnFactory()
    page = text(show(master))
    assert "No sensor of K1 is known here yet." in page
    assert "Channels of the kilns" in page


def test_sensors_without_any_reading_say_so(master: Client) -> None:
    ChannelFactory(kiln=KilnFactory())
    assert "None ever came" in text(show(master))


def test_a_part_of_the_page_is_sent_to_htmx_and_the_whole_to_everybody_else(master: Client, kiln: Kiln) -> None:
    part = master.get(PAGE, headers={"HX-Request": "true"})
    again = master.get(PAGE, headers={"HX-Request": "true", "HX-History-Restore-Request": "true"})
    assert b"<html" not in part.content
    assert b"<html" in again.content
    assert "HX-Request" in part["Vary"]


def test_an_unknown_kiln_is_not_found(master: Client) -> None:
    assert master.get("/kilns/K99/climate/").status_code == 404


def queries(look: Callable[[], Any]) -> int:
    with CaptureQueriesContext(connection) as captured:
        look()
    return len(captured)


def add_of_everything(kiln: Kiln, numbers: Iterable[int]) -> None:
    for number in numbers:
        ChannelFactory(kiln=kiln, quantity="wood_moisture", place=str(number))
        fired(kiln, begin_at=MONDAY + timedelta(hours=number))
        charge = ChargeFactory(
            kiln=kiln, number=f"Q{number}", basis="done", begin_at=MONDAY - timedelta(weeks=number + 1)
        )
        ChargeFigure.objects.create(charge=charge, code="heat_up_h", value=number)


def test_the_number_of_queries_does_not_grow(master: Client, kiln: Kiln) -> None:
    add_of_everything(kiln, [0])
    few = queries(lambda: show(master))
    add_of_everything(kiln, range(1, 12))
    write(kiln, HEATING_S, 60, **{f"wood_moisture__{number}": 30 for number in range(12)})
    assert queries(lambda: show(master)) == few
    # Seven of them are the frame's: what must be said of kilns, and whether anybody does the background work.
    assert few <= 16 + 7
