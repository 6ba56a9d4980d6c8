"""Reporting, ending and correcting downtime."""

from datetime import timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.utils import timezone

from plant.models import Change, Downtime, Kiln, User
from tests.factories import ComponentFactory, DowntimeFactory, KilnFactory, UserFactory

pytestmark = pytest.mark.django_db
BACKEND = "django.contrib.auth.backends.ModelBackend"
LAST_WEEK = timezone.now().replace(minute=0, second=0, microsecond=0) - timedelta(days=7)


@pytest.fixture
def kiln() -> Kiln:
    return KilnFactory()


@pytest.fixture
def oda() -> User:
    return UserFactory(role="planner")


@pytest.fixture
def browser_of_oda(client: Client, oda: User) -> Client:
    client.force_login(oda, backend=BACKEND)
    return client


def typed(hours: float) -> str:
    """An instant some hours after last week's, as the mill's clock shows it."""
    return (LAST_WEEK + timedelta(hours=hours)).astimezone(ZoneInfo("Europe/Stockholm")).strftime("%Y-%m-%dT%H:%M")


def answers(**changed: Any) -> dict[str, Any]:
    return {"kind": "unplanned", "start_at": typed(0), "share_lost_pct": "100", "cause": "fan 3 bearing", **changed}


def test_a_stop_goes_on_record_in_the_mills_own_time(browser_of_oda: Client, kiln: Kiln, oda: User) -> None:
    answer = browser_of_oda.post("/kilns/K1/downtime/", answers(end_at=typed(5.5)))
    assert (answer.status_code, answer["Location"]) == (302, "/kilns/K1/")
    record = Downtime.objects.get()
    assert (record.start_at, record.end_at) == (LAST_WEEK, LAST_WEEK + timedelta(hours=5.5))
    assert Change.objects.about(record).get().by == oda


def test_a_share_is_typed_in_per_cent(browser_of_oda: Client, kiln: Kiln) -> None:
    browser_of_oda.post("/kilns/K1/downtime/", answers(share_lost_pct="12.5"))
    assert Downtime.objects.get().share_lost == Decimal("0.125")


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"end_at": typed(-1)}, "is not after the start"),
        ({"share_lost_pct": "0"}, "Write a share above 0"),
        ({"start_at": typed(24 * 30)}, "cannot start in the future"),
        ({"kind": "no_timber", "share_lost_pct": "50"}, "give 100 %"),
        ({"kind": "lunch"}, "not one of the available choices"),
        ({"start_at": "soon"}, "Enter a valid date/time"),
    ],
)
def test_bad_input_says_what_is_wrong_and_keeps_what_was_typed(
    browser_of_oda: Client, kiln: Kiln, changed: dict[str, str], message: str
) -> None:
    page = browser_of_oda.post("/kilns/K1/downtime/", answers(**changed)).content.decode()
    assert message in page
    assert "fan 3 bearing" in page
    assert not Downtime.objects.exists()


def test_what_came_from_outside_the_kiln_is_kept_with_its_cause(browser_of_oda: Client, kiln: Kiln) -> None:
    page = browser_of_oda.post("/kilns/K1/downtime/", answers(kind="external", cause=" ")).content.decode()
    assert "Say what came from outside, a power cut for instance." in page
    assert not Downtime.objects.exists()
    browser_of_oda.post("/kilns/K1/downtime/", answers(kind="external", cause="power cut"))
    record = Downtime.objects.get()
    assert (record.kind, record.get_kind_display()) == ("external", "cause outside the kiln")


@pytest.mark.parametrize(("start", "end"), [(1, 2), (0, 6), (-1, 7), (0, None)])
def test_a_downtime_inside_another_of_the_same_kind_is_refused(
    browser_of_oda: Client, kiln: Kiln, start: float, end: float | None
) -> None:
    DowntimeFactory(kiln=kiln, start_at=LAST_WEEK, end_at=LAST_WEEK + timedelta(hours=6))
    sent = answers(start_at=typed(start), end_at=typed(end) if end is not None else "")
    page = browser_of_oda.post("/kilns/K1/downtime/", sent).content.decode()
    assert "lies inside the other" in page
    assert Downtime.objects.count() == 1


def test_one_of_another_kind_or_of_another_component_that_overlaps_goes_on_record(
    browser_of_oda: Client, kiln: Kiln
) -> None:
    flap, fan = ComponentFactory(kiln=kiln, tag="flap"), ComponentFactory(kiln=kiln)
    DowntimeFactory(kiln=kiln, component=flap, start_at=LAST_WEEK, end_at=LAST_WEEK + timedelta(hours=6))
    browser_of_oda.post("/kilns/K1/downtime/", answers(kind="planned", start_at=typed(1), end_at=typed(2)))
    overlapping = answers(start_at=typed(5), end_at=typed(9))
    assert "the two share time" in browser_of_oda.post("/kilns/K1/downtime/", overlapping).content.decode()
    assert Downtime.objects.count() == 2
    browser_of_oda.post("/kilns/K1/downtime/", {**overlapping, "component": fan.pk})
    assert Downtime.objects.count() == 3


def test_a_stop_without_an_end_does_not_swallow_what_is_planned_ahead(browser_of_oda: Client, kiln: Kiln) -> None:
    ahead = LAST_WEEK + timedelta(days=60)
    DowntimeFactory(kiln=kiln, kind="planned", start_at=ahead, end_at=ahead + timedelta(hours=6))
    assert browser_of_oda.post("/kilns/K1/downtime/", answers(kind="planned")).status_code == 302
    later = answers(kind="planned", start_at=typed(24 * 30), end_at=typed(24 * 31))
    assert browser_of_oda.post("/kilns/K1/downtime/", later).status_code == 302
    assert Downtime.objects.count() == 3


def test_slowings_of_two_components_may_lie_inside_one_another_but_not_start_together(
    browser_of_oda: Client, kiln: Kiln
) -> None:
    flap, fan = ComponentFactory(kiln=kiln, tag="flap"), ComponentFactory(kiln=kiln)
    DowntimeFactory(
        kiln=kiln, component=flap, share_lost=Decimal("0.2"), start_at=LAST_WEEK, end_at=LAST_WEEK + timedelta(hours=9)
    )
    slow = answers(component=fan.pk, share_lost_pct="10", end_at=typed(4))
    assert browser_of_oda.post("/kilns/K1/downtime/", slow).status_code == 200
    assert browser_of_oda.post("/kilns/K1/downtime/", {**slow, "start_at": typed(1)}).status_code == 302


def test_an_open_stop_is_ended_once(browser_of_oda: Client, kiln: Kiln) -> None:
    record = DowntimeFactory(kiln=kiln, start_at=LAST_WEEK, end_at=None)
    url = f"/kilns/K1/downtime/{record.pk}/end/"
    assert "lies ahead" in browser_of_oda.post(url, {"end_at": typed(24 * 30)}).content.decode()
    assert "is not after the start" in browser_of_oda.post(url, {"end_at": typed(-1)}).content.decode()
    assert browser_of_oda.post(url, {"end_at": typed(3)}).status_code == 302
    assert "has ended already" in browser_of_oda.post(url, {"end_at": typed(4)}).content.decode()
    record.refresh_from_db()
    assert record.end_at == LAST_WEEK + timedelta(hours=3)


def correction(browser: Client, record: Downtime, **changed: Any) -> Any:
    """Open the form and send it back changed."""
    url = f"/kilns/K1/downtime/{record.pk}/"
    form = browser.get(url).context["form"]
    sent = answers(end_at=typed(6), seen=form.initial["seen"], **changed)
    return browser.post(url, sent)


def test_a_correction_needs_a_reason_and_keeps_what_was_there_before(browser_of_oda: Client, kiln: Kiln) -> None:
    record = DowntimeFactory(kiln=kiln, start_at=LAST_WEEK)
    assert "Say why" in correction(browser_of_oda, record, cause="belt").content.decode()
    assert correction(browser_of_oda, record, cause="belt", why="it was the belt").status_code == 302
    entry = Change.objects.about(record).get()
    assert (entry.before, entry.after, entry.note) == (
        {"cause": "fan 3 bearing"},
        {"cause": "belt"},
        "it was the belt",
    )


def test_a_correction_over_somebody_elses_is_noticed_once(browser_of_oda: Client, kiln: Kiln) -> None:
    record = DowntimeFactory(kiln=kiln, start_at=LAST_WEEK)
    url = f"/kilns/K1/downtime/{record.pk}/"
    seen = browser_of_oda.get(url).context["form"].initial["seen"]
    Downtime.objects.filter(pk=record.pk).update(cause="belt")
    answer = browser_of_oda.post(url, answers(end_at=typed(6), cause="motor", why="seen", seen=seen))
    assert "changed this meanwhile" in answer.content.decode()
    assert 'value="motor"' in answer.content.decode()
    again = answers(end_at=typed(6), cause="motor", why="seen", seen=answer.context["form"].data["seen"])
    assert browser_of_oda.post(url, again).status_code == 302
    record.refresh_from_db()
    assert record.cause == "motor"


def test_a_record_is_found_only_under_its_own_kiln(browser_of_oda: Client, kiln: Kiln) -> None:
    record = DowntimeFactory(kiln=KilnFactory(tag="K2"), start_at=LAST_WEEK)
    assert browser_of_oda.get(f"/kilns/K1/downtime/{record.pk}/").status_code == 404


@pytest.mark.parametrize("role", ["storekeeper", "manager", "auditor"])
def test_who_may_not_report_is_refused(client: Client, kiln: Kiln, role: str) -> None:
    client.force_login(UserFactory(username="rolf", role=role), backend=BACKEND)
    assert client.post("/kilns/K1/downtime/", answers()).status_code == 403
    assert not Downtime.objects.exists()
