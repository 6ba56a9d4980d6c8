"""A job that nobody has begun is done by the present version of its task sheet, where the planner says so."""

from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.test import Client

from inventory.models import Reservation
from maintenance.models import WorkOrder
from maintenance.sheets.content import content_of
from maintenance.sheets.keeping import change
from maintenance.work.newer_sheet import take_present_version
from plant.models import Change, User
from tests.factories import MillFactory, PartFactory, PartKindFactory, UserFactory
from tests.maintenance.sheets.test_own_sheets import copy_of, job, shipped

pytestmark = pytest.mark.django_db


@pytest.fixture
def oda() -> User:
    MillFactory()
    user: User = UserFactory(username="oda", role="planner")
    return user


def raised_and_changed(by: User) -> WorkOrder:
    """A job that wants two belts, and its sheet, which wants a litre of oil, twice the time and one step by now."""
    belt, oil = PartKindFactory(code="belt"), PartKindFactory(code="oil")
    for kind in (belt, oil):
        PartFactory(code=kind.code, kind=kind)
    own = copy_of(shipped(), by, parts={"belt": "2"})
    order = job(own)
    content = content_of(own)
    steps = [{**content["steps"][0], "text": "Oil it."}]
    change(own, {**content, "hours": "3", "steps": steps, "parts": {"oil": "1"}}, version=1, why="", by=by)
    return WorkOrder.objects.get(pk=order.pk)


def wanted(order: WorkOrder) -> dict[str, Decimal]:
    still = Reservation.objects.still_wanted().filter(source=order.number)
    return {one.part.code: one.quantity for one in still.select_related("part")}


def test_it_takes_steps_hours_and_parts_of_the_present_version(oda: User) -> None:
    order = raised_and_changed(oda)
    assert wanted(order) == {"belt": 2}
    take_present_version(order, version=order.version, by=oda)
    order.refresh_from_db()
    assert (order.sheet_version, order.hours) == (2, 3)
    assert [step.text for step in order.steps.all()] == ["Oil it."]
    assert wanted(order) == {"oil": 1}
    assert [line.part.code for line in order.parts.all()] == ["oil"]
    assert Change.objects.about(order).filter(act="by the present sheet").exists()


def test_what_was_changed_on_the_job_itself_stays(oda: User) -> None:
    order = raised_and_changed(oda)
    WorkOrder.objects.filter(pk=order.pk).update(hours=Decimal("1.25"))
    take_present_version(order, version=order.version, by=oda)
    order.refresh_from_db()
    assert order.hours == Decimal("1.25")


def test_what_has_begun_keeps_its_version(oda: User) -> None:
    order = raised_and_changed(oda)
    WorkOrder.objects.filter(pk=order.pk).update(state="under_way")
    with pytest.raises(ValidationError, match="has not begun"):
        take_present_version(order, version=order.version, by=oda)


def test_parts_that_were_taken_are_no_surprise(oda: User) -> None:
    order = raised_and_changed(oda)
    Reservation.objects.filter(source=order.number).update(used=1)
    with pytest.raises(ValidationError, match="was taken for it already"):
        take_present_version(order, version=order.version, by=oda)
    order.refresh_from_db()
    assert (order.sheet_version, order.steps.count()) == (1, 2)


def test_the_page_of_a_job_offers_it(oda: User, client: Client) -> None:
    order = raised_and_changed(oda)
    client.force_login(oda)
    assert "Do it by the present version" in client.get(order.get_absolute_url()).content.decode()
    answer = client.post(f"{order.get_absolute_url()}newer-sheet/", {"version": order.version}, follow=True)
    assert "goes by the present version" in answer.content.decode()
    assert "Do it by the present version" not in answer.content.decode()
