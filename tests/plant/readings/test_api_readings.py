"""Readings sent as JSON: stored once, all of a body or nothing of it, and every fault answered in JSON."""

import gzip
import json
from io import BytesIO
from typing import Any

import pytest
from django.db import OperationalError
from django.test import Client

from plant.models import Channel, Job, Kiln, Reading
from plant.readings import taking_in as taking
from plant.readings.api import app, bodies
from plant.readings.calculations import sent_readings
from tests.plant.sending import DRY, WET, Sender, reading, sending_mill, stored

pytestmark = pytest.mark.django_db


@pytest.fixture
def sender() -> Sender:
    """Set up the mill."""
    return sending_mill()


def said(answer: Any, status: int) -> str:
    """Hold the status, that it is JSON in its form, and that nothing was stored; return what is said."""
    assert answer.status_code == status, answer.content
    assert answer["Content-Type"] == "application/json"
    body = answer.json()
    assert set(body) == {"message", "faults", "fault_count"}
    assert Reading.objects.count() == 0
    return " ".join([body["message"], *(f"[{fault['index']}] {fault['message']}" for fault in body["faults"])])


def test_readings_are_stored_in_the_unit_of_their_quantity_and_wait_to_be_settled(sender: Sender) -> None:
    answer = sender.send(reading(), reading(1, "DB1", value=212), reading(2, DRY, value=300, unit="K"))
    assert (answer.status_code, answer.json()) == (200, {"new": 3, "known": 0, "differing": 0})
    assert stored() == [("air_temperature", 1, 100), ("air_temperature", 2, 26.85), ("wet_bulb", 0, 40)]
    assert Job.objects.filter(what=taking.SETTLE_TASK).count() == 1
    sender.source.refresh_from_db()
    assert sender.source.last_heard_at is not None


def test_repeated_late_and_contradicting_readings_change_nothing_twice(sender: Sender) -> None:
    late_first = [reading(5), reading(1), reading(3), reading(3)]
    assert sender.send(*late_first).json() == {"new": 3, "known": 1, "differing": 0}
    before = stored()
    assert sender.send(*late_first).json() == {"new": 0, "known": 4, "differing": 0}
    assert sender.send(reading(1, value=77), reading(2)).json() == {"new": 1, "known": 0, "differing": 1}
    assert [row for row in stored() if row[1] != 2] == before


def test_no_readings_at_all_are_no_fault(sender: Sender) -> None:
    assert sender.send().json() == {"new": 0, "known": 0, "differing": 0}


def test_one_faulty_reading_keeps_all_others_out_and_each_fault_is_listed_by_its_place(sender: Sender) -> None:
    answer = sender.send(reading(), {"channel": "K9/emc", "at": 1}, reading(1), reading(2, value="warm"))
    assert said(answer, 422).count("[1]") == 3
    assert "[3] Its value is a text, not a number" in said(answer, 422)
    assert answer.json()["fault_count"] == 4


def test_what_python_reads_as_json_but_is_none_is_refused(sender: Sender) -> None:
    for word in ("NaN", "Infinity", "-Infinity"):
        text = json.dumps({"readings": [reading()]}).replace("40.0", word)
        assert f"It holds {word}" in said(sender.post(text.encode()), 400)


@pytest.mark.parametrize(
    ("old", "new", "status", "words"),
    [
        ("40.0", "1e400", 422, "no finite number"),
        ("40.0", "9" * 400, 422, "no finite number"),
        ("40.0", "9" * 5000, 400, "thousands of digits"),
        ("40.0", "1e13", 422, "too large to be a reading"),
        ("1764050400", "0", 422, "not between 2000 and 2100"),
        ("1764050400", "7258118400", 422, "not between 2000 and 2100"),
        ("1764050400", '"2200-01-01T00:00:00Z"', 422, "not between 2000 and 2100"),
        ("}]}", '}, {"channel"', 400, "is cut off"),
        ("}]}", ', "unit": "psi"}]}', 422, "unit “psi” is not known"),
        ("}]}", ', "unit": "percent"}]}', 422, "not written in percent"),
        ("}]}", ', "value": 3}]}', 400, "The key “value” stands twice"),
        ("}]}", "}], " + '"readings": []}', 400, "The key “readings” stands twice"),
        ("40.0", "[" * 50_000 + "]" * 50_000, 400, "nests too deep"),
        ("40.0", "[" * 500 + "]" * 500, 422, "Its value is a list"),
        ("K1/", "\x00", 400, "control character"),
        ("K1/", "\\u0000", 422, "No channel in use"),
        ("K1/", "\\ud800", 422, "No channel in use"),
    ],
)
def test_a_bad_body_is_told_what_is_wrong_with_it(sender: Sender, old: str, new: str, status: int, words: str) -> None:
    text = json.dumps({"readings": [reading()]})
    assert old in text
    assert words in said(sender.post(text.replace(old, new).encode()), status)


@pytest.mark.parametrize("body", [[], 3, None, "x", {}, {"reading": []}, {"readings": {}}, {"readings": [], "at": 1}])
def test_a_body_of_another_shape_is_told_the_right_one(sender: Sender, body: Any) -> None:
    assert "an object with “readings” and nothing else" in said(sender.post(body), 422)


def test_a_body_in_another_dress_is_refused(sender: Sender) -> None:
    body = json.dumps({"readings": [reading(unit="°C")]}, ensure_ascii=False)
    for content_type in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x"):
        assert "Content-Type: application/json" in said(sender.post(body.encode(), content_type=content_type), 415)
    latin = sender.post(body.encode("latin-1"), content_type="application/json; charset=latin-1")
    assert "JSON in UTF-8" in said(latin, 415)
    assert "not UTF-8" in said(sender.post(body.encode("latin-1")), 400)
    assert "not UTF-8" in said(sender.post(body.encode("utf-16")), 400)
    bomb = gzip.compress(b"[" + b" " * 20_000_000)
    assert "packed one" in said(sender.post(bomb, **{"Content-Encoding": "gzip"}), 415)
    assert sender.post(body.encode(), content_type="Application/JSON; charset=UTF-8").status_code == 200


def test_too_much_at_once_is_refused_by_number_and_by_size_before_it_is_read(sender: Sender) -> None:
    million = b'{"readings": [' + b"0," * 999_999 + b"0]}"
    assert "1,000,000 readings are too many" in said(sender.post(million), 413)
    for length in (str(bodies.MOST_BYTES + 1), "9" * 30):
        assert "too large" in said(announced(sender, length), 413)


def announced(sender: Sender, length: str) -> Any:
    """Send two bytes and say that they are more."""
    head = {"CONTENT_TYPE": "application/json", "HTTP_AUTHORIZATION": f"Bearer {sender.text}"}
    return Client().post("/api/readings", **{**head, "CONTENT_LENGTH": length, "wsgi.input": BytesIO(b"{}")})


def test_a_body_without_its_length_is_not_waited_for(sender: Sender) -> None:
    for length in ("", "-3", "many", "²"):
        assert "Content-Length" in said(announced(sender, length), 411)


def test_a_channel_out_of_use_takes_nothing(sender: Sender) -> None:
    Channel.objects.filter(quantity="wet_bulb").update(is_active=False)
    assert "No channel in use is called “K1/wet_bulb:left”" in said(sender.send(reading()), 422)
    Kiln.objects.update(is_active=False)
    assert said(sender.send(reading(), reading(0, DRY), reading(1, "DB1")), 422).count("No channel in use") == 3


def test_what_only_the_store_finds_wrong_is_told_as_well(sender: Sender, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*arrays: Any, **options: Any) -> None:
        raise taking.ReadingFault(["reading 1: channel 7 is not known"])

    monkeypatch.setattr(app, "take_in", refuse)
    assert "[None] reading 1: channel 7 is not known" in said(sender.send(reading()), 422)


def test_a_busy_database_asks_to_send_again(sender: Sender, monkeypatch: pytest.MonkeyPatch) -> None:
    def locked(*arrays: Any, **options: Any) -> None:
        raise OperationalError("database is locked")

    monkeypatch.setattr(app, "take_in", locked)
    answer = sender.send(reading())
    assert "send the same again" in said(answer, 503)
    assert answer["Retry-After"] == "5"


def test_a_fault_of_the_program_is_logged_and_told_as_json(
    sender: Sender, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(*arrays: Any, **options: Any) -> None:
        raise ZeroDivisionError("of all things")

    monkeypatch.setattr(app, "take_in", broken)
    assert "its log says why" in said(sender.send(reading()), 500)
    assert "of all things" in caplog.text


def test_faults_outside_the_api_are_answered_by_json_too(sender: Sender, monkeypatch: pytest.MonkeyPatch) -> None:
    assert "KILNWARD_HOSTS" in said(sender.post({"readings": []}, Host="elsewhere.example"), 400)

    def away(self: Any) -> None:
        raise OperationalError("server closed the connection")

    monkeypatch.setattr("plant.middleware.Mill.objects.first", away)
    client = Client(raise_request_exception=False)
    answer = client.post("/api/readings", {}, content_type="application/json")
    assert (answer.status_code, answer["Content-Type"]) == (500, "application/json")


@pytest.mark.parametrize("method", ["get", "head", "put", "patch", "delete", "options"])
def test_other_methods_are_told_the_right_one(sender: Sender, method: str) -> None:
    answer = getattr(Client(), method)("/api/readings", headers={"Authorization": f"Bearer {sender.text}"})
    assert (answer.status_code, answer["Allow"], answer["Content-Type"]) == (405, "POST", "application/json")


@pytest.mark.parametrize("address", ["/api/", "/api/readings/", "/api/nothing", "/api/openapi.json/x", "/api//"])
def test_an_address_that_is_none_is_answered_by_json(address: str) -> None:
    for method in ("get", "post"):
        answer = getattr(Client(), method)(address)
        assert (answer.status_code, answer["Content-Type"]) == (404, "application/json")


def test_a_source_is_told_the_channels_in_use_and_its_own_names(sender: Sender) -> None:
    Channel.objects.create(kiln=Kiln.objects.get(), quantity="emc", is_active=False)
    answer = Client().get("/api/channels", headers={"Authorization": f"Bearer {sender.text}"})
    assert answer.json() == {
        "source": "controller",
        "channels": [
            {
                "channel": DRY,
                "quantity": "air_temperature",
                "unit": "degC",
                "every_s": 60,
                "names": [{"name": "DB1", "unit": "degF"}],
            },
            {"channel": WET, "quantity": "wet_bulb", "unit": "degC", "every_s": 60, "names": []},
        ],
    }


def test_a_body_costs_a_constant_number_of_queries(
    sender: Sender, django_assert_max_num_queries: Any, django_assert_num_queries: Any
) -> None:
    sender.send(reading(0))
    with django_assert_max_num_queries(30) as few:
        sender.send(reading(1))
    with django_assert_num_queries(len(few)):
        sender.send(*(reading(number) for number in range(2, 600)))


def test_reader_and_store_draw_the_same_bounds() -> None:
    assert (sent_readings.FIRST_S, sent_readings.END_S) == (taking.FIRST_S, taking.END_S)
    assert sent_readings.MOST == taking.LARGEST
    assert taking.MOST_AHEAD.total_seconds() == sent_readings.DAY_S
    assert sent_readings.MOST_FAULTS == taking.MOST_FAULTS
