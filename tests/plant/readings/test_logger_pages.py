"""Sources, channels, and a logger's file on its way in: found out, confirmed, taken in, remembered."""

import html
import os
import re
import time
from datetime import UTC, datetime
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from plant import clock
from plant.models import Change, Channel, ChannelName, FileIntake, Kiln, Reading, ReadingSource
from plant.readings.files import file_intake, uploads
from tests.factories import (
    ChannelFactory,
    ComponentFactory,
    KilnFactory,
    MillFactory,
    ReadingSourceFactory,
    UserFactory,
)

BACKEND = "django.contrib.auth.backends.ModelBackend"
NOW = datetime(2026, 11, 25, 7, 30, tzinfo=UTC)
WIDE = "Zeit;K1 dry left [°C];K1 wet [°F];Remark\n24.11.2026 08:00;62,5;140;\n24.11.2026 08:01;62,6;---;well\n"
LONG = "time;channel;value;unit\n2026-11-24T07:00:00Z;K1.dry left;62,5;C\n2026-11-24T07:00:00Z;K1.wet;140;F\n"
# 2026-11-24 08:00 in Stockholm
EIGHT_S = 1_795_503_600

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _today(monkeypatch: pytest.MonkeyPatch, tmp_path: Any, settings: Any) -> None:
    settings.DATA_DIR = tmp_path
    monkeypatch.setattr(clock, "now", lambda: NOW)


@pytest.fixture
def kiln() -> Kiln:
    kiln: Kiln = KilnFactory(mill=MillFactory())
    ChannelFactory(kiln=kiln, quantity="air_temperature", place="left")
    ChannelFactory(kiln=kiln, quantity="wet_bulb", place="")
    return kiln


def signed_in(role: str) -> Client:
    client = Client()
    client.force_login(UserFactory(username=f"is-{role}", role=role), backend=BACKEND)
    return client


@pytest.fixture
def ilse(kiln: Kiln) -> Client:
    ReadingSourceFactory()
    return signed_in("kiln_master")


def send(client: Client, text: str | bytes, name: str = "k1.csv", **more: Any) -> Any:
    raw = text.encode() if isinstance(text, str) else text
    file = SimpleUploadedFile(name, raw, content_type="text/csv")
    return client.post("/readings/sources/logger/files/", {"file": file, **more}, follow=True)


def fields_of(page: Any, **changed: Any) -> dict[str, Any]:
    """What the browser would send from the page that confirms a file."""
    shown = page.context["page"]
    sent = {"shown": shown.shown}
    for column in shown.columns:
        sent[f"channel-{column.number}"] = str(column.channel.pk) if column.channel else ""
        sent[f"unit-{column.number}"] = column.unit
    for group in page.context["groups"]:
        sent |= {field.name: field.value() or "" for field in group["fields"]}
    return {**sent, **changed}


def url_of(page: Any) -> str:
    return page.redirect_chain[-1][0] if getattr(page, "redirect_chain", None) else page.request["PATH_INFO"]


def look(client: Client, page: Any, **changed: Any) -> Any:
    """Press “Look again”."""
    return client.post(url_of(page), fields_of(page, **changed))


def confirm(client: Client, page: Any, **changed: Any) -> Any:
    """Press “Take in as shown”."""
    return client.post(url_of(page), fields_of(page, take_in="", **changed), follow=True)


def stored() -> list[tuple[str, int, float]]:
    rows = Reading.objects.order_by("channel__quantity", "at_s").values_list("channel__quantity", "at_s", "value")
    return [(quantity, at_s, round(value, 6)) for quantity, at_s, value in rows]


def test_a_file_is_shown_as_understood_and_taken_in_as_confirmed(ilse: Client) -> None:
    page = send(ilse, WIDE)
    text = page.content.decode()
    assert "Is the file understood rightly?" in text
    assert not Reading.objects.exists()
    heads = [name for name, _unit in page.context["preview"].heads]
    assert heads == ["K1 air temperature left", "K1 wet-bulb temperature"]
    assert page.context["preview"].rows[0][1] == [62.5, pytest.approx(60.0)]
    assert "Tue 24 Nov 2026 08:00:00" in text
    done = confirm(ilse, page)
    assert "k1.csv is taken in" in done.content.decode()
    assert stored() == [
        ("air_temperature", EIGHT_S, 62.5),
        ("air_temperature", EIGHT_S + 60, 62.6),
        ("wet_bulb", EIGHT_S, 60.0),
    ]
    intake = FileIntake.objects.get()
    assert (intake.read, intake.new, intake.known, intake.by.username) == (3, 3, 0, "is-kiln_master")  # type: ignore[union-attr]
    assert set(ChannelName.objects.values_list("name", "unit")) == {
        ("K1 dry left [°C]", "degC"),
        ("K1 wet [°F]", "degF"),
    }
    assert ReadingSource.objects.get().file_form["left_out"] == ["Remark"]
    assert Change.objects.filter(act="way of reading confirmed").count() == 1
    assert list((uploads._folder()).glob("*")) == []


@pytest.mark.skipif(connection.vendor != "sqlite", reason="Others need not wait where several may write at a time.")
def test_a_large_file_is_stored_in_portions_and_again_after_an_end_in_the_middle(
    ilse: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = "".join(f"24.11.2026 08:{minute:02d};{60 + minute / 10};140;\n" for minute in range(50))
    text = f"{WIDE.splitlines()[0]}\n{rows}"
    monkeypatch.setattr(file_intake, "PORTION", 30)
    done, real = [], file_intake.take_in

    def dies_at_the_third(*args: Any, **kwargs: Any) -> Any:
        done.append(real(*args, **kwargs) if len(done) != 2 else None)
        if done[-1] is None:
            raise KeyboardInterrupt
        return done[-1]

    page = send(ilse, text)
    monkeypatch.setattr(file_intake, "take_in", dies_at_the_third)
    with pytest.raises(KeyboardInterrupt):
        confirm(ilse, page)
    assert not FileIntake.objects.exists()
    monkeypatch.setattr(file_intake, "take_in", real)
    confirm(ilse, page)
    intake = FileIntake.objects.get()
    assert (intake.read, intake.new, intake.known) == (100, 40, 60)
    assert Reading.objects.count() == 100


def test_the_next_file_with_the_same_head_goes_in_at_once(ilse: Client) -> None:
    confirm(ilse, send(ilse, WIDE))
    done = send(ilse, WIDE.replace("24.11.", "25.11.").replace("62,5", "70"), "next.csv")
    assert "next.csv is taken in" in done.content.decode()
    assert Reading.objects.count() == 6
    again = send(ilse, WIDE)
    assert "0 of its 3 readings were new" in again.content.decode()
    assert "Is the file understood rightly?" in send(ilse, WIDE, look_first="on").content.decode()
    assert "is known yet: look at how" in send(ilse, WIDE.replace("Remark", "Note")).content.decode()
    assert Reading.objects.count() == 6


def test_a_confirmed_file_with_a_fault_is_shown_with_the_fault_and_nothing_is_stored(ilse: Client) -> None:
    confirm(ilse, send(ilse, WIDE))
    page = send(ilse, WIDE + "24.11.2026 08:02;warm;1;\n1.1.1970 00:00;60;1;\n")
    text = page.content.decode()
    assert "Line 4, column “K1 dry left [°C]”: “warm” is no number" in text
    assert "lies outside the years 2000 to 2099" in text
    assert Reading.objects.count() == 3


@pytest.mark.parametrize("number", [0, 1])
def test_what_was_confirmed_is_proposed_again_with_the_same_head(ilse: Client, number: int) -> None:
    text = [WIDE, LONG][number]
    confirm(ilse, send(ilse, text))
    kept = dict(ReadingSource.objects.get().file_form)
    page = send(ilse, text, look_first="on")
    confirm(ilse, look(ilse, page))
    again = ReadingSource.objects.get().file_form
    assert {**again, "confirmed_at": ""} == {**kept, "confirmed_at": ""}


def test_day_and_month_are_asked_for(ilse: Client) -> None:
    text = "Time;K1 dry left\n03/11/2026 08:00;62,5\n04/11/2026 08:00;62,6\n"
    page = send(ilse, text)
    assert page.context["preview"] is None
    refused = confirm(ilse, page)
    assert "Say first which is the day and which the month" in refused.content.decode()
    shown = confirm(ilse, refused, date_order="dmy")
    assert "look at it once more" in shown.content.decode()
    assert shown.context["preview"].rows[0][0] == datetime(2026, 11, 3, 7, tzinfo=UTC)
    assert not Reading.objects.exists()
    confirm(ilse, shown)
    assert stored()[0][1] == int(datetime(2026, 11, 3, 7, tzinfo=UTC).timestamp())


def test_the_zone_that_is_chosen_counts_and_is_remembered(ilse: Client) -> None:
    page = send(ilse, WIDE)
    again = confirm(ilse, page, zone="+05:30")
    confirm(ilse, again)
    assert stored()[0][1] == EIGHT_S + 3600 - 5 * 3600 - 1800
    assert ReadingSource.objects.get().file_form["zone"] == "+05:30"


POINTS = ["delimiter", "decimal", "encoding", "shape", "date_order", "head_line", "time_column", "clock_column", "zone"]


@pytest.mark.parametrize("point", POINTS)
def test_every_point_can_be_set_and_never_brings_the_page_down(ilse: Client, point: str) -> None:
    page = send(ilse, WIDE)
    for field in [field for group in page.context["groups"] for field in group["fields"] if field.name == point]:
        for value, _word in field.field.choices[:6]:
            assert look(ilse, page, **{point: value}).status_code == 200
    for nonsense in ("-1", "9999", "x", "²"):
        assert look(ilse, page, **{point: nonsense}).status_code == 200
    assert not Reading.objects.exists()


def test_a_unit_that_makes_values_impossible_is_pointed_out_and_must_be_meant(ilse: Client) -> None:
    page = send(ilse, "Time;K1 dry left\n2026-11-24 08:00;250\n2026-11-24 08:01;251\n")
    assert "Read in °C, 2 of the first 2 values are impossible for it. In °F they would fit." in page.content.decode()
    refused = confirm(ilse, page)
    assert "Some units make values impossible" in refused.content.decode()
    assert not Reading.objects.exists()
    right = look(ilse, page, **{"unit-0": "degF"})
    assert "are impossible" not in right.content.decode()
    confirm(ilse, page, accept="on")
    assert stored()[0][2] == 250.0


def test_a_unit_that_no_such_channel_can_have_is_refused(ilse: Client) -> None:
    page = confirm(ilse, send(ilse, WIDE), **{"unit-0": "kilowatt"})
    assert "cannot be written in kW: choose °C, °F, K" in page.content.decode()
    assert not Reading.objects.exists()


def test_two_columns_cannot_be_one_channel(ilse: Client) -> None:
    page = send(ilse, WIDE)
    left = Channel.objects.get(place="left").pk
    refused = confirm(ilse, page, **{"channel-1": left, "unit-1": ""})
    assert "cannot both be K1 air temperature left" in refused.content.decode()
    assert not Reading.objects.exists()


def test_a_channel_that_was_switched_off_meanwhile_is_no_longer_taken(ilse: Client) -> None:
    confirm(ilse, send(ilse, WIDE))
    Channel.objects.filter(place="left").update(is_active=False)
    send(ilse, WIDE.replace("24.11.", "25.11."), "next.csv")
    assert FileIntake.objects.first().new == 1  # type: ignore[union-attr]


def test_a_long_file_names_its_channels_line_by_line(ilse: Client) -> None:
    confirm(ilse, send(ilse, LONG))
    assert stored() == [("air_temperature", EIGHT_S, 62.5), ("wet_bulb", EIGHT_S, 60.0)]
    unknown = send(ilse, LONG.replace("K1.wet", "K1.rh"), "other.csv")
    assert "Not all of this file's head or names is known yet" in html.unescape(unknown.content.decode())
    assert [column.look.name for column in unknown.context["page"].columns] == ["K1.dry left", "K1.rh"]
    other_unit = send(ilse, LONG.replace(";F", ";C").replace("T07", "T08"), "unit.csv")
    assert [column.unit for column in other_unit.context["page"].columns] == ["degC", "degC"]
    assert Reading.objects.count() == 2
    confirm(ilse, other_unit, accept="on")
    assert stored()[-1][2] == 140.0


@pytest.mark.parametrize(
    ("raw", "told"),
    [
        (b"hello", "Its only line does not hold a time and a value"),
        (b"PK\x03\x04", "a workbook"),
        (b"time,a\n2026-11-24 08:00,\0\n", "NUL"),
        (b"time," + b",".join(b"c%d" % n for n in range(1_000_000)), "columns, 300 are read"),
        (b"\xff\xfe\x00", "UTF-16"),
        (b'time,a\n2026-11-24 08:00,"1\n' + b"x" * 200_000, "cannot be read"),
    ],
)
def test_what_is_no_table_is_refused_in_words(ilse: Client, raw: bytes, told: str) -> None:
    page = send(ilse, raw)
    assert page.status_code == 200
    assert told in page.content.decode()
    assert not FileIntake.objects.exists()


def test_an_empty_and_a_too_large_file_are_refused_on_the_page(ilse: Client, settings: Any) -> None:
    assert "The submitted file is empty" in send(ilse, b"").content.decode()
    settings.MAX_LOAD_BYTES = 1024**2
    page = send(ilse, b"time,a\n" + b"2026-11-24 08:00,1\n" * 60_000)
    assert "more than 1 MB" in page.content.decode()
    assert list(uploads._folder().glob("*")) == []


def test_a_file_waits_only_for_the_session_that_sent_it_and_for_a_day(ilse: Client) -> None:
    url = send(ilse, WIDE).redirect_chain[-1][0]
    assert "Is the file understood rightly?" in ilse.get(url).content.decode()
    assert ilse.get(re.sub(r"[0-9a-f]{32}", "0" * 32, url)).status_code == 302
    assert signed_in("planner").get(url).status_code == 302
    ReadingSourceFactory(code="other")
    assert ilse.get(url.replace("/logger/", "/other/")).status_code == 302
    [path] = uploads._folder().glob("*")
    assert path.name != "k1.csv"
    old = time.time() - uploads.KEPT_S - 1
    os.utime(path, (old, old))
    assert uploads.forget_old() == 1
    assert "send it again" in ilse.get(url, follow=True).content.decode()


def test_names_of_files_lead_nowhere(ilse: Client) -> None:
    send(ilse, WIDE, "../../../etc/passwd\x00.csv")
    [path] = uploads._folder().glob("*")
    assert path.parent == uploads._folder()


def test_a_file_that_is_not_wanted_is_cleared_away(ilse: Client) -> None:
    url = send(ilse, WIDE).redirect_chain[-1][0]
    ilse.post(f"{url}off/")
    assert list(uploads._folder().glob("*")) == []
    assert not Reading.objects.exists()


def test_what_a_file_brought_is_shown_with_its_marks(ilse: Client) -> None:
    done = confirm(ilse, send(ilse, WIDE.replace("62,6", "900")))
    text = done.content.decode()
    assert "no sensor here can read that" in text
    assert "still being looked through" in text
    assert "3 of its 3 readings were new" in text


def test_a_source_that_is_not_in_use_takes_no_file(ilse: Client) -> None:
    page = send(ilse, WIDE)
    ReadingSource.objects.update(is_active=False)
    assert "is not in use: switch it on first" in confirm(ilse, page).content.decode()
    assert not Reading.objects.exists()


def test_who_may_only_look_sees_no_form_and_sends_no_file(kiln: Kiln) -> None:
    ReadingSourceFactory()
    siv = signed_in("auditor")
    text = siv.get("/readings/sources/logger/").content.decode()
    assert "Send the file" not in text
    assert send(siv, WIDE).status_code == 403


def test_the_list_of_sources_costs_the_same_for_few_and_many(ilse: Client) -> None:
    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as caught:
            assert ilse.get("/readings/").status_code == 200
        return len(caught)

    source = ReadingSource.objects.get()
    source.intakes.create(file_name="a.csv", digest="0" * 64, at=NOW)
    queries()
    few = queries()
    for number in range(20):
        source = ReadingSourceFactory(code=f"s{number}", name=f"Source {number}", last_heard_at=NOW)
        source.intakes.create(file_name="a.csv", digest="0" * 64, at=NOW)
        source.names.create(name="x", channel=Channel.objects.first())
    assert queries() == few


def test_the_page_of_a_kilns_channels_costs_the_same_for_few_and_many(ilse: Client, kiln: Kiln) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as caught:
            assert ilse.get("/kilns/K1/channels/").status_code == 200
        return len(caught)

    queries()
    few = queries()
    for number in range(20):
        ChannelFactory(kiln=kiln, quantity="wood_moisture", place=str(number))
    assert queries() == few


def test_a_source_is_put_on_record_and_changed(kiln: Kiln) -> None:
    arne = signed_in("administrator")
    assert "How do its readings come here?" in arne.get("/readings/new-source/").content.decode()
    done = arne.post(
        "/readings/new-source/?way=files",
        {"code": "l1", "name": "Logger 1", "folder": "", "time_zone": ""},
        follow=True,
    )
    assert "Logger 1 is on record" in done.content.decode()
    form = arne.get("/readings/sources/l1/particulars/").context["form"]
    values = {name: form[name].value() or "" for name in form.fields}
    arne.post("/readings/sources/l1/particulars/", {**values, "name": "Logger one", "is_active": "on"})
    source = ReadingSource.objects.get(code="l1")
    assert (source.name, source.way, source.version) == ("Logger one", "files", 1)
    stale = arne.post("/readings/sources/l1/particulars/", {**values, "name": "x", "is_active": "on"})
    assert "changed this meanwhile" in stale.content.decode()
    zone = arne.post("/readings/new-source/?way=files", {"code": "l2", "name": "L", "time_zone": "Mars/Olympus"})
    assert "is no time zone" in zone.content.decode()
    broker = arne.post("/readings/new-source/?way=broker", {"code": "b", "name": "B", "broker_port": "1883"})
    assert "This field is required" in broker.content.decode()


def test_channels_are_added_by_place_copied_and_switched_off(kiln: Kiln) -> None:
    oda, other = signed_in("administrator"), KilnFactory(tag="K2")
    url = "/kilns/K1/channels/"
    oda.post(f"{url}new/", {"quantity": "wood_moisture", "places": "1, 2 3", "every_s": "600"})
    assert list(kiln.channels.filter(quantity="wood_moisture").values_list("place", flat=True)) == ["1", "2", "3"]
    twice = oda.post(f"{url}new/", {"quantity": "wood_moisture", "places": "3 4", "every_s": "600"})
    assert "has this channel already: 3" in twice.content.decode()
    odd = oda.post(f"{url}new/", {"quantity": "emc", "places": "<b>", "every_s": "0"})
    assert "is no position" in odd.content.decode()
    oda.post("/kilns/K2/channels/copy/", {"other": kiln.pk})
    assert other.channels.count() == 5
    oda.post("/kilns/K2/channels/copy/", {"other": kiln.pk})
    assert other.channels.count() == 5
    channel = kiln.channels.get(quantity="wet_bulb")
    page = oda.get(f"{url}{channel.pk}/").context["form"]
    oda.post(f"{url}{channel.pk}/", {"seen": page["seen"].value(), "every_s": "30", "component": ""})
    channel.refresh_from_db()
    assert (channel.every_s, channel.is_active) == (30, False)
    stranger = ComponentFactory(kiln=other)
    page = oda.get(f"{url}{channel.pk}/").context["form"]
    refused = oda.post(f"{url}{channel.pk}/", {"seen": page["seen"].value(), "every_s": "30", "component": stranger.pk})
    assert refused.status_code == 200
    assert Change.objects.about(channel).count() == 1


def test_names_are_given_and_taken_off_by_hand(kiln: Kiln) -> None:
    oda, source = signed_in("administrator"), ReadingSourceFactory()
    channel = kiln.channels.get(quantity="wet_bulb")
    url = "/readings/sources/logger/names/"
    wrong = oda.post(url, {"name-name": "T2", "name-channel": channel.pk, "name-unit": "kilowatt"})
    assert "is not written in kilowatt" in wrong.content.decode()
    oda.post(url, {"name-name": "T2", "name-channel": channel.pk, "name-unit": "degF"})
    named = source.names.get()
    assert (named.name, named.unit) == ("T2", "degF")
    oda.post(f"{url}{named.pk}/off/")
    assert not source.names.exists()


def test_long_lists_of_channels_are_limited_to_a_kiln(ilse: Client) -> None:
    for number in range(2, 12):
        kiln = KilnFactory(tag=f"K{number}")
        Channel.objects.bulk_create(Channel(kiln=kiln, quantity="wood_moisture", place=str(n)) for n in range(20))
    page = send(ilse, WIDE.replace("K1 wet [°F]", "K7 MC 3 %"))
    assert page.context["page"].kiln_choices
    offered = {kiln for kiln, _channels in page.context["columns"][1]["offered"]}
    assert offered == {"K1", "K7"}
    moved = look(ilse, page, kiln="K5")
    assert {kiln for kiln, _channels in moved.context["columns"][0]["offered"]} == {"K1", "K5"}
