"""The particulars of a job that has not begun can be changed, with a reason; its place stays only where it holds."""

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.utils import timezone

from maintenance.models import WorkOrder
from maintenance.plans.placing_all import place_all
from maintenance.work.particulars import Particulars, change_particulars
from plant.basics.sentences import Sentences
from plant.models import Change
from plant.templatetags.said import said as in_words
from tests.factories import MONDAY, MillFactory, UserFactory, WorkOrderFactory
from tests.maintenance.mill import a_user, signed_in
from tests.maintenance.placing_mill import OPENING_FROM, job, on_shift, programme

pytestmark = pytest.mark.django_db
NOW = MONDAY + timedelta(hours=1)


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)


def _again(order: WorkOrder) -> WorkOrder:
    return WorkOrder.objects.get(pk=order.pk)


def _placed(**changes: Any) -> WorkOrder:
    programme(charges=4)
    on_shift()
    order = job(**changes)
    place_all(NOW)
    return _again(order)


def _wanted(order: WorkOrder, **changes: Any) -> Particulars:
    names = Particulars.__dataclass_fields__
    return Particulars(**{**{name: getattr(order, name) for name in names}, **changes})


def _change(order: WorkOrder, why: str = "the fitter looked at it", **changes: Any) -> tuple[WorkOrder, Sentences]:
    planner = UserFactory(role="planner", username="vera")
    changed = change_particulars(order, _wanted(order, **changes), why=why, by=planner, version=order.version)
    return _again(order), changed.lost_place_why


def _url(order: WorkOrder) -> str:
    return f"/work-orders/{order.number}/particulars/"


def _form(client: Client, order: WorkOrder, **changes: Any) -> dict[str, Any]:
    """What the form shows, with changes."""
    form = client.get(_url(order)).context["form"]
    with timezone.override(order.kiln.mill.zone):
        shown = {name: form[name].value() for name in form.fields}
    moments = {name: f"{value:%Y-%m-%dT%H:%M}" for name, value in shown.items() if isinstance(value, datetime)}
    return {**{name: "" if value is None else value for name, value in shown.items()}, **moments, **changes}


def test_the_history_keeps_before_and_after_and_the_reason() -> None:
    order = _placed(due_at=MONDAY + timedelta(days=14))
    after, _lost = _change(order, title="Free both flaps", cost_of_delay_per_day=Decimal("12.5"))
    assert (after.title, after.cost_of_delay_per_day, after.version) == (
        "Free both flaps",
        Decimal("12.5"),
        order.version + 1,
    )
    change = Change.objects.about(order).last()
    assert change is not None
    assert (change.act, change.by.username, change.note) == ("changed", "vera", "the fitter looked at it")
    assert change.before == {"title": order.title, "cost_of_delay_per_day": "0"}
    assert change.after == {"title": "Free both flaps", "cost_of_delay_per_day": "12.5"}


def test_a_place_that_still_holds_is_kept_and_lasts_as_long_as_the_job_now() -> None:
    order = _placed()
    after, lost = _change(order, hours=Decimal(3))
    assert (lost, after.state, after.placement.start_at) == ((), "placed", order.placement.start_at)
    assert after.placement.end_at - after.placement.start_at == timedelta(hours=3)


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"earliest_at": OPENING_FROM + timedelta(days=3)}, "may not start before"),
        ({"hours": Decimal(300)}, "given up"),
        ({"crew": 2}, "given up"),
    ],
)
def test_a_place_that_does_not_hold_any_more_is_given_up(changes: dict[str, Any], word: str) -> None:
    after, lost = _change(_placed(), **changes)
    assert word in in_words(lost)
    assert (hasattr(after, "placement"), after.assignments.count(), after.no_place_why) == (False, 0, lost)
    assert after.state in ("raised", "ready")


def test_safety_work_whose_date_comes_forward_past_its_place_is_placed_anew() -> None:
    order = _placed(is_safety=True, safety_at=MONDAY + timedelta(days=14))
    sooner_at = OPENING_FROM - timedelta(days=1)
    after, lost = _change(order, safety_at=sooner_at, due_at=sooner_at)
    assert "last day that is safe" in in_words(lost)
    assert not hasattr(after, "placement")


def test_no_change_leaves_no_trace() -> None:
    order = _placed()
    known = Change.objects.about(order).count()
    after, _lost = _change(order)
    assert (after.version, Change.objects.about(order).count()) == (order.version, known)


@pytest.mark.parametrize(
    ("given", "changes", "why", "field"),
    [
        ({}, {"title": "Other"}, " ", "why"),
        ({"is_safety": True}, {"safety_at": MONDAY + timedelta(days=20)}, "", "why"),
        ({"is_safety": True, "safety_at": MONDAY + timedelta(days=14)}, {"safety_at": None}, "so", "safety_at"),
        ({}, {"due_at": MONDAY - timedelta(days=3)}, "so", "due_at"),
        (
            {"is_safety": True, "safety_at": MONDAY + timedelta(days=14)},
            {"due_at": MONDAY + timedelta(days=15)},
            "so",
            "due_at",
        ),
        ({}, {"earliest_at": MONDAY + timedelta(days=40)}, "so", "earliest_at"),
    ],
)
def test_what_cannot_be_is_refused_at_its_field(
    given: dict[str, Any], changes: dict[str, Any], why: str, field: str
) -> None:
    order = WorkOrderFactory(**given)
    with pytest.raises(ValidationError) as refusal:
        _change(order, why=why, **changes)
    assert set(refusal.value.message_dict) == {field}
    assert _again(order).version == order.version


def test_a_later_safety_date_needs_words_and_then_is_kept_with_them() -> None:
    order = WorkOrderFactory(is_safety=True, safety_at=MONDAY + timedelta(days=14))
    later_at = MONDAY + timedelta(days=20)
    with pytest.raises(ValidationError, match="say why waiting is safe"):
        change_particulars(order, _wanted(order, safety_at=later_at), why="", by=None)
    after, _lost = _change(order, why="the second door was tried and opens", safety_at=later_at)
    assert after.safety_at == later_at


def test_the_form_changes_what_was_typed_and_nothing_else(client: Client) -> None:
    order = WorkOrderFactory(due_at=MONDAY + timedelta(days=14, seconds=7))
    signed_in(client, a_user("planner"))
    assert _url(order) in client.get(order.get_absolute_url()).content.decode()
    answer = client.post(_url(order), _form(client, order, hours="2,5", why="more rust than thought"), follow=True)
    assert f"{order.number} is changed." in answer.content.decode()
    after = _again(order)
    assert (after.hours, after.due_at, after.title) == (Decimal("2.5"), order.due_at, order.title)


def test_a_stale_version_is_refused_and_what_was_typed_stays(client: Client) -> None:
    order = WorkOrderFactory()
    signed_in(client, a_user("kiln_master"))
    sent = _form(client, order, title="Typed by hand", why="so")
    WorkOrder.objects.filter(pk=order.pk).update(version=9)
    shown = client.post(_url(order), sent).content.decode()
    assert "Somebody changed this meanwhile" in shown
    assert "Typed by hand" in shown
    assert _again(order).title == order.title


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("title", " "),
        ("title", "x" * 161),
        ("due_at", "0026-01-01T10:00"),
        ("due_at", "soon"),
        ("earliest_at", "9999-12-31T23:59"),
        ("hours", "0"),
        ("hours", "-3"),
        ("hours", "1e99"),
        ("hours", "NaN"),
        ("crew", "0"),
        ("crew", "99999999999999999999"),
        ("cost_of_delay_per_day", "-1"),
        ("cost_of_delay_per_day", "99999999999"),
        ("why", ""),
        ("version", "many"),
    ],
)
def test_absurd_input_is_refused_beside_its_field(client: Client, field: str, typed: str) -> None:
    order = WorkOrderFactory()
    signed_in(client, a_user("planner"))
    answer = client.post(_url(order), _form(client, order, **{"why": "so", field: typed}))
    assert answer.status_code == 200
    assert field in answer.context["form"].errors
    assert _again(order).version == order.version


@pytest.mark.parametrize("role", ["technician", "storekeeper", "manager", "auditor"])
def test_roles_that_place_no_work_are_refused(client: Client, role: str) -> None:
    order = WorkOrderFactory()
    signed_in(client, a_user(role))
    assert client.get(_url(order)).status_code == 403
    assert client.post(_url(order), {"title": "Other", "why": "so"}).status_code == 403
    assert _url(order) not in client.get(order.get_absolute_url()).content.decode()


@pytest.mark.parametrize("state", ["under_way", "done", "signed_off"])
def test_work_that_has_begun_stays_as_it_was_asked_for(client: Client, state: str) -> None:
    order = WorkOrderFactory()
    signed_in(client, a_user("planner"))
    sent = _form(client, order, title="Other", why="so")
    WorkOrder.objects.filter(pk=order.pk).update(state=state)
    assert "stays as it was asked for" in client.get(_url(order), follow=True).content.decode()
    assert "has not begun" in client.post(_url(order), sent).content.decode()
    assert _again(order).title == order.title
    assert _url(order) not in client.get(order.get_absolute_url()).content.decode()


def test_safety_work_without_a_date_of_its_own_is_shown_the_day_it_is_due(client: Client) -> None:
    MillFactory()
    order = WorkOrderFactory(is_safety=True)
    signed_in(client, a_user("planner"))
    assert client.get(_url(order)).context["form"]["safety_at"].initial == order.due_at
