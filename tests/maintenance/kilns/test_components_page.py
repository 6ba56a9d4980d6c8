"""A component of a kiln: put on record, exchanged with what came out and why, taken back, retired."""

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from maintenance.models import StandingTask
from plant.models import Change, Component, ComponentKind, FailureMode, Fitting
from tests.factories import MONDAY, ComponentFactory, KilnFactory, MillFactory, UserFactory
from tests.maintenance.mill import a_user, opened, shut
from tests.maintenance.placing_mill import standing

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: MONDAY)


@pytest.fixture
def ilse(client: Client) -> Client:
    """The kiln master, signed in."""
    client.force_login(UserFactory(role="kiln_master"))
    return client


@pytest.fixture
def fan() -> Component:
    fan: Component = ComponentFactory(kiln=KilnFactory(mill=MillFactory()))
    return fan


def at(part: Component, name: str, *more: Any) -> str:
    return reverse(f"maintenance:{name}", args=[part.kiln.tag, part.tag, *more])


def worn(**changes: Any) -> dict[str, Any]:
    # The mill's own clock: an hour before Monday 07:00 in Stockholm.
    return {"at": "2026-03-02T06:00", "removal": "worn", "part_code": "fan-80", "note": "noisy", **changes}


def test_a_second_component_of_a_kind_gets_a_tag_of_its_own(ilse: Client, fan: Component) -> None:
    said = {"kind": fan.kind.code, "name": "Fan north", "side": ""}
    for name in ("Fan north", "Fan south"):
        ilse.post(reverse("maintenance:component-add", args=[fan.kiln.tag]), said | {"name": name})
    added = Component.objects.filter(kiln=fan.kiln).exclude(pk=fan.pk)
    assert len({one.tag for one in added}) == 2 and {one.name for one in added} == {"Fan north", "Fan south"}
    again = ilse.post(reverse("maintenance:component-add", args=[fan.kiln.tag]), said)
    assert "tell them apart" in again.content.decode()
    assert Component.objects.filter(kiln=fan.kiln).count() == 3


def test_an_exchange_says_what_came_out_and_why(ilse: Client, fan: Component) -> None:
    Fitting.objects.create(component=fan, fitted_at=MONDAY - timedelta(days=400))
    ilse.post(at(fan, "exchange"), worn())
    former, current = fan.fittings.order_by("fitted_at")
    assert (former.removal, former.removed_at) == ("worn", current.fitted_at)
    assert current.fitted_at == MONDAY - timedelta(hours=1) and current.part_code == "fan-80"
    page = ilse.get(at(fan, "component")).content.decode()
    assert "worn, before it failed" in page and "fan-80" in page


def test_the_first_exchange_needs_nothing_on_record_before(ilse: Client, fan: Component) -> None:
    ilse.post(at(fan, "exchange"), worn())
    assert fan.fittings.get().removed_at is None


def test_an_exchange_sent_twice_or_at_the_same_minute_is_one(ilse: Client, fan: Component) -> None:
    ilse.post(at(fan, "exchange"), worn())
    again = ilse.post(at(fan, "exchange"), worn())
    assert "has a later time" in again.content.decode() and fan.fittings.count() == 1


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"at": "2026-03-02T07:01"}, "at"),
        ({"at": "2024-01-01T00:00"}, "at"),
        ({"at": ""}, "at"),
        ({"removal": ""}, "removal"),
        ({"removal": "failed"}, "failure_mode"),
        ({"failure_mode": "wick-dry"}, "failure_mode"),
    ],
)
def test_an_exchange_that_cannot_be_is_refused_and_named(
    ilse: Client, fan: Component, change: dict[str, Any], field: str
) -> None:
    Fitting.objects.create(component=fan, fitted_at=MONDAY - timedelta(days=400))
    FailureMode.objects.create(kind=fan.kind, code="fan-bearing", name="bearing")
    other = ComponentKind.objects.create(code="wick", name="Wick", group="humidity", end_view_no=8)
    FailureMode.objects.create(kind=other, code="wick-dry", name="dry")
    page = ilse.post(at(fan, "exchange"), worn(**change))
    assert page.context["exchange_form"].errors[field]
    assert fan.fittings.get().removed_at is None


def test_an_exchange_is_taken_back_and_what_it_took_out_sits_there_again(ilse: Client, fan: Component) -> None:
    first = Fitting.objects.create(component=fan, fitted_at=MONDAY - timedelta(days=400))
    ilse.post(at(fan, "exchange"), worn())
    second = fan.fittings.get(removed_at=None)
    refused = ilse.post(at(fan, "exchange-back", first.pk), follow=True)
    assert "does not sit there any more" in refused.content.decode() and fan.fittings.count() == 2
    ilse.post(at(fan, "exchange-back", second.pk))
    assert fan.fittings.get() == first and fan.fittings.get().removal == ""
    assert [one.act for one in Change.objects.about(fan).order_by("id")] == ["exchanged", "exchange taken back"]


def test_a_technician_records_an_exchange_and_takes_none_back(client: Client, fan: Component) -> None:
    client.force_login(UserFactory(role="technician"))
    client.post(at(fan, "exchange"), worn())
    assert client.post(at(fan, "exchange-back", fan.fittings.get().pk)).status_code == 403
    assert client.post(at(fan, "component-retire"), {"why": "gone"}).status_code == 403


def test_what_recurs_on_a_component_ends_with_it_and_it_can_come_back(ilse: Client, fan: Component) -> None:
    ComponentFactory(kiln=fan.kiln, tag="fan-9")
    task = standing(kiln=fan.kiln, component=fan)
    ilse.post(at(fan, "component-retire"), {"why": "taken out in the rebuild"})
    task.refresh_from_db()
    fan.refresh_from_db()
    assert not fan.is_active and not task.is_active
    ilse.post(at(fan, "component-back"))
    fan.refresh_from_db()
    assert fan.is_active and not StandingTask.objects.get().is_active


def test_nothing_is_taken_out_of_use_over_somebody_inside_and_safety_work_that_ends_is_named(
    ilse: Client, fan: Component
) -> None:
    ComponentFactory(kiln=fan.kiln, tag="fan-9")
    standing(kiln=fan.kiln, component=fan, is_safety=True)
    assert "Safety work ends with it" in ilse.get(at(fan, "component")).content.decode()
    master = a_user("kiln_master", "vera")
    opened(fan.kiln, master)
    page = ilse.post(at(fan, "component-retire"), {"why": "walled up now"})
    fan.refresh_from_db()
    assert fan.is_active and "Not while people are in or at the kiln." in page.content.decode()
    assert StandingTask.objects.in_use().count() == 1
    shut(fan.kiln, master)
    page = ilse.post(at(fan, "component-retire"), {"why": "walled up now"}, follow=True)
    assert "Safety work ended with it" in page.content.decode()


def test_the_last_component_of_a_kiln_stays(ilse: Client, fan: Component) -> None:
    page = ilse.post(at(fan, "component-retire"), {"why": "gone"})
    fan.refresh_from_db()
    assert fan.is_active and "last component" in page.content.decode()


def test_a_name_changed_in_two_windows_is_noticed(ilse: Client, fan: Component) -> None:
    seen = ilse.get(at(fan, "component-edit")).context["form"]["seen"].value()
    ilse.post(at(fan, "component-edit"), {"name": "Fan one", "side": "", "seen": seen})
    again = ilse.post(at(fan, "component-edit"), {"name": "Fan A", "side": "", "seen": seen})
    fan.refresh_from_db()
    assert fan.name == "Fan one" and "changed this meanwhile" in again.content.decode()
