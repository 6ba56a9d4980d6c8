"""A mill that reads °F and counts board feet meets its own units on every page, and the records stay in °C and m³."""

import re
from collections.abc import Iterator
from datetime import timedelta
from decimal import Decimal
from io import BytesIO
from uuid import uuid4

import pytest
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader

from maintenance.entry.forms import PermitForm
from maintenance.entry.permits import open_permit
from maintenance.models import Defect, EntryPermit, StepRecord
from plant import clock
from plant.frame.measures import InUnitField
from plant.frame.units import temperature_scale
from plant.models import Kiln, Mill
from tests.factories import (
    ChargeFactory,
    DowntimeFactory,
    KilnFactory,
    MillFactory,
    PersonFactory,
    WorkOrderFactory,
    WorkStepFactory,
)
from tests.maintenance.mill import a_user, answers, signed_in

IMPERIAL = Mill(temperature_unit="degF", volume_unit="board_feet", entry_limit_c=35)
METRIC = re.compile(r"\d\s?(?:°C|m³)")


@pytest.fixture
def kiln(db: None) -> Iterator[Kiln]:
    """A kiln of 60 m³ that stands still, in a mill with American units."""
    MillFactory(temperature_unit="degF", volume_unit="board_feet")
    kiln = KilnFactory(usable_m3=60)
    now = clock.now()
    ChargeFactory(kiln=kiln, begin_at=now - timedelta(days=9), days=5, basis="done", volume_m3=50)
    ChargeFactory(kiln=kiln, begin_at=now - timedelta(days=3), days=7, basis="running", volume_m3=52)
    DowntimeFactory(kiln=kiln, start_at=now - timedelta(hours=30), end_at=None)
    yield kiln


def words_of(client: Client, url: str) -> str:
    answer = client.get(url)
    assert answer.status_code == 200, url
    return answer.content.decode().replace("\N{NO-BREAK SPACE}", " ")


def pdf_text(client: Client, url: str) -> str:
    return " ".join(page.extract_text() for page in PdfReader(BytesIO(client.get(url).content)).pages)


def test_the_kilns_and_a_kiln_are_shown_in_the_mills_units(client: Client, kiln: Kiln) -> None:
    signed_in(client, a_user("planner"))
    open_permit(kiln, answers(temperature_c=Decimal("30.5")), by=None, key=uuid4())
    for url in ("/kilns/", f"/kilns/{kiln.tag}/"):
        page = words_of(client, url)
        assert "below 95 °F" in page
        assert "board feet lost so far" in page
        assert not METRIC.search(page), url
    page = words_of(client, f"/kilns/{kiln.tag}/")
    assert "25,427 board feet" in page  # 60 m³
    assert "22,036 board feet" in page  # the charge of 52 m³
    assert "86.9 °F inside" in page


def test_the_availability_report_counts_in_the_mills_units_on_page_and_paper(client: Client, kiln: Kiln) -> None:
    signed_in(client, a_user("manager"))
    today = clock.today(kiln.mill.zone)
    asked = f"?from={today - timedelta(days=8)}&to={today}"
    for text in (words_of(client, f"/availability/{asked}"), pdf_text(client, f"/availability/report.pdf{asked}")):
        assert "board feet" in text
        assert not METRIC.search(text)


def test_tables_to_take_away_stay_in_m3_and_say_so(client: Client, kiln: Kiln) -> None:
    signed_in(client, a_user("manager"))
    today = clock.today(kiln.mill.zone)
    table = client.get(f"/availability/report.csv?from={today - timedelta(days=8)}&to={today}").content.decode()
    heads, row = (line.split(",") for line in table.strip().splitlines())
    assert "usable_m3" in heads[1]
    assert Decimal(row[1]) == 60


def test_a_permit_is_typed_and_shown_in_fahrenheit_and_kept_in_celsius(client: Client, kiln: Kiln) -> None:
    user = a_user("technician")
    signed_in(client, user)
    order = WorkOrderFactory(kiln=kiln, needs_state="empty")
    page = words_of(client, f"/work-orders/{order.number}/start/")
    assert "Temperature inside in °F" in page
    assert "limit for entry: 95 °F" in page
    outside = PersonFactory(code="per")
    sent = {
        "version": order.version,
        "people": [user.person_id],
        "is_cautions_read": "on",
        "is_own_lock_on": "on",
        "permit_key": str(uuid4()),
        "is_locked_out": "on",
        "is_open": "on",
        "is_escape_door_tried": "on",
        "locked_out_by": user.person_id,
        "watch_outside": outside.pk,
    }
    url = f"/work-orders/{order.number}/start/"
    refused = client.post(url, {**sent, "temperature": "95.1"}).content.decode()
    assert "is 95.1 °F warm; the mill&#x27;s limit is 95 °F" in refused
    assert not EntryPermit.objects.exists()
    client.post(url, {**sent, "temperature": "95"})
    assert EntryPermit.objects.get().temperature_c == 35
    page = words_of(client, order.get_absolute_url())
    assert "95 °F inside" in page
    assert not METRIC.search(page)


def test_a_steps_reading_and_limits_are_in_fahrenheit_and_kept_in_celsius(client: Client, kiln: Kiln) -> None:
    signed_in(client, a_user("technician"))
    order = WorkOrderFactory(kiln=kiln, state="under_way", needs_state="running")
    step = WorkStepFactory(work_order=order, reading_name="Hottest surface", reading_unit="°C", high=Decimal(49))
    url = f"/work-orders/{order.number}/"
    assert "at most 120.2 °F" in words_of(client, url)
    sent = {"key": str(uuid4()), "note": "", "act": "done"}
    refused = client.post(f"{url}steps/{step.no}/", {**sent, "reading": "130"}).content.decode()
    assert "Outside the limits (at most 120.2 °F)" in refused
    assert 'value="130"' in refused
    client.post(f"{url}steps/{step.no}/", {**sent, "reading": "113"})
    assert StepRecord.objects.get().reading == 45
    assert "113 °F" in words_of(client, url)
    assert "113 °F" in pdf_text(client, f"{url}sheet.pdf")
    client.post(f"{url}steps/{step.no}/", {**sent, "key": str(uuid4()), "reading": "131", "act": "defect"})
    assert Defect.objects.get().what == "Hottest surface 131 °F, should be at most 120.2 °F"


def test_a_reading_in_another_unit_is_left_alone(client: Client, kiln: Kiln) -> None:
    signed_in(client, a_user("technician"))
    order = WorkOrderFactory(kiln=kiln, state="under_way", needs_state="running")
    step = WorkStepFactory(work_order=order, reading_name="Difference", reading_unit="K", low=Decimal("-0.6"))
    client.post(
        f"/work-orders/{order.number}/steps/{step.no}/",
        {"key": str(uuid4()), "note": "", "act": "done", "reading": "0,125"},
    )
    assert StepRecord.objects.get().reading == Decimal("0.125")


def test_a_kilns_volume_is_typed_in_board_feet_and_kept_in_m3(client: Client, kiln: Kiln) -> None:
    signed_in(client, a_user("planner"))
    url = f"/kilns/{kiln.tag}/particulars/"
    form = client.get(url).context["form"]
    told = {name: value for name in form.fields if (value := form[name].value()) not in (None, False)}
    assert told["usable_m3"] == "25427"
    client.post(url, {**told, "name": "north kiln"})
    assert Kiln.objects.get().usable_m3 == 60, "what is sent back as shown is not rounded"
    told["seen"] = client.get(url).context["form"]["seen"].value()
    client.post(url, {**told, "usable_m3": "30000"})
    assert Kiln.objects.get().usable_m3 == Decimal("70.792")
    assert client.get(url).context["form"]["usable_m3"].value() == "30000"


@given(st.decimals(-76, 392, places=1))
def test_a_temperature_typed_at_the_door_comes_back_as_typed(typed: Decimal) -> None:
    field = InUnitField(scale=temperature_scale(IMPERIAL), least=Decimal(-60), most=Decimal(200))
    kept = field.clean(str(typed).replace(".", ","))
    assert Decimal(field.prepare_value(kept)) == typed
    # 35 °C is 95 °F: the limit lies between the same two figures in both.
    assert (kept > IMPERIAL.entry_limit_c) is (typed > 95)


@pytest.mark.django_db
def test_a_temperature_out_of_all_bounds_is_refused_in_the_mills_unit() -> None:
    form = PermitForm({"temperature": "900"}, mill=IMPERIAL)
    assert form.errors["temperature"] == ["Ensure this value is less than or equal to 392."]
