"""A plan is accepted kiln by kiln: what is accepted holds beside what is on record, the rest waits."""

from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.test import Client

from maintenance.models import KilnStop, Placement, Plan
from maintenance.plans.accepting import accept_plan
from maintenance.plans.seen_changes import Change, Where, changes_of, parts_of
from maintenance.plans.standing import standing_now
from plant.models import Change as Entry
from tests.factories import MONDAY
from tests.maintenance.placing_mill import job
from tests.maintenance.plans_made import plan_of_two_kilns

pytestmark = pytest.mark.django_db
NOW = MONDAY + timedelta(hours=1)


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)


@pytest.fixture
def two_kilns() -> Plan:
    return plan_of_two_kilns()


def placed() -> set[str]:
    return set(Placement.objects.values_list("work_order__number", flat=True))


def test_one_kiln_is_accepted_and_the_other_waits_until_it_is_accepted_too(two_kilns: Plan) -> None:
    accepted = accept_plan(two_kilns, by=two_kilns.wanted_by, version=0, part=["WO-1"])

    two_kilns.refresh_from_db()
    assert (accepted.placed, placed()) == (["WO-1"], {"WO-1"})
    assert (two_kilns.state, [one["number"] for one in two_kilns.changes]) == ("worked_out", ["WO-2"])
    assert [stop.kiln.tag for stop in KilnStop.objects.all()] == ["K1"]
    assert standing_now(NOW).loose == {}
    (told,) = Entry.objects.about(two_kilns)
    assert (told.act, told.by, told.after["jobs"]) == ("accepted in part", two_kilns.wanted_by, ["WO-1"])

    accept_plan(two_kilns, by=two_kilns.wanted_by, version=1)

    two_kilns.refresh_from_db()
    assert (placed(), two_kilns.state) == ({"WO-1", "WO-2"}, "accepted")
    assert sorted(stop.kiln.tag for stop in KilnStop.objects.all()) == ["K1", "K2"]


def test_who_has_not_seen_that_a_part_was_accepted_changes_nothing(two_kilns: Plan) -> None:
    accept_plan(two_kilns, by=two_kilns.wanted_by, version=0, part=["WO-1"])
    with pytest.raises(ValidationError, match="Somebody decided about this plan meanwhile"):
        accept_plan(two_kilns, by=two_kilns.wanted_by, version=0, part=["WO-2"])
    assert placed() == {"WO-1"}


def test_the_page_asks_with_figures_and_offers_each_kiln(client: Client, two_kilns: Plan) -> None:
    assert two_kilns.wanted_by
    client.force_login(two_kilns.wanted_by)
    text = client.get(two_kilns.get_absolute_url()).content.decode()
    assert "Accept the plan" in text and 'value="kiln:K1"' in text and 'value="kiln:K2"' in text
    answer = client.post(f"{two_kilns.get_absolute_url()}accept/", {"version": 0, "part": "kiln:K2"}, follow=True)
    assert "This part of the plan is accepted: 1 job has a place." in answer.content.decode()
    assert placed() == {"WO-2"}
    again = client.post(f"{two_kilns.get_absolute_url()}accept/", {"version": 1, "part": "kiln:K2"}, follow=True)
    assert "This part of the plan was decided already" in again.content.decode()


def change(number: str, was_h: float | None, now_h: float | None, **ways: Any) -> dict[str, Any]:
    def at(hours: float | None, people: list[str]) -> dict[str, Any] | None:
        if hours is None:
            return None
        start_at = NOW + timedelta(hours=hours)
        return {
            "start_at": start_at.isoformat(),
            "end_at": (start_at + timedelta(hours=1)).isoformat(),
            "people": people,
        }

    people = ways.get("people", (["Oda"], ["Oda"]))
    return {
        "number": number,
        "kiln": ways.get("kiln", "K1"),
        "from": at(was_h, people[0]),
        "to": at(now_h, people[1]),
        "why": [],
    }


def test_what_matters_stands_first_and_minutes_are_folded_away() -> None:
    job(number="SAFE", is_safety=True), job(number="PLAIN", title="Grease the bearings")
    found = changes_of(
        [
            change("PLAIN", 100, 100.5),
            change("CREW", 90, 91, people=(["Oda"], ["Rolf"])),
            change("SOON", 200, 47.9),
            change("LATER", 60, 300),
            change("SAFE", 120, 121),
        ],
        NOW,
    )
    assert [one.number for one in found] == ["SAFE", "SOON", "CREW", "PLAIN", "LATER"]
    assert [one.number for one in found if one.is_small] == ["PLAIN"]
    assert found[3].title == "Grease the bearings"


def test_a_move_of_minutes_tomorrow_is_not_folded_away() -> None:
    (found,) = changes_of([change("PLAIN", 24, 24.5)], NOW)
    assert found.is_soon and not found.is_small


def test_a_plan_of_one_kiln_and_one_day_has_no_parts() -> None:
    at = Where(NOW, NOW + timedelta(hours=1), "Oda")
    one = Change("WO-1", "", "K1", None, at, (), False, True)
    assert parts_of([one]) == []
