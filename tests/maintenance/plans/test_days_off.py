"""Days off for everybody and turns of one week in several: nobody is given work who is not there."""

from datetime import date, timedelta

import pytest
from django.test import Client

from maintenance.models import WorkOrder
from maintenance.plans.desk import duties
from maintenance.plans.places_now import failing_places
from maintenance.plans.placing_all import place_all
from plant.models import Change, DayOff, Mill, Shift, ShiftDuty
from plant.people.keeping import add_day_off, drop_day_off
from plant.people.working_week import week_of
from tests.factories import MONDAY, MillFactory, PersonFactory
from tests.maintenance.mill import a_user, signed_in
from tests.maintenance.placing_mill import OPENING_FROM, job, on_shift, programme

pytestmark = pytest.mark.django_db
NOW = MONDAY + timedelta(hours=1)
FRIDAY = OPENING_FROM.date()


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)


def days_on_duty(duty: ShiftDuty, weeks: int) -> list[date]:
    mill = Mill.objects.current()
    spans = duties(mill, NOW, NOW + timedelta(weeks=weeks), duty.person)
    return [span[0].astimezone(mill.zone).date() for turn, span in spans if turn.pk == duty.pk]


def test_early_and_late_turn_about_leaves_nobody_on_both() -> None:
    MillFactory()
    per = PersonFactory(code="per")
    turns = []
    for number, (code, start, end) in enumerate((("early", "06:00", "14:00"), ("late", "14:00", "22:00"))):
        shift = Shift.objects.create(code=code, name=code, weekdays="MO,TU,WE,TH,FR", start_time=start, end_time=end)
        first_on = MONDAY.date() + timedelta(weeks=number)
        made = ShiftDuty.objects.create(person=per, shift=shift, from_on=first_on, every_weeks=2)
        turns.append(ShiftDuty.objects.select_related("shift").get(pk=made.pk))
    early, late = (days_on_duty(turn, 4) for turn in turns)
    weeks = [{(day - MONDAY.date()).days // 7 for day in days} for days in (early, late)]
    assert weeks == [{0, 2, 4}, {1, 3}]
    # A first day in the middle of the week counts its week from the Monday before.
    turns[0].from_on = MONDAY.date() + timedelta(days=2)
    assert not turns[0].begins_on(MONDAY.date(), ())
    assert turns[0].begins_on(MONDAY.date() + timedelta(days=14), ())


def test_no_shift_begins_on_a_day_off_and_pictures_say_the_same() -> None:
    programme()
    oda = on_shift()
    duty = oda.duties.get()
    DayOff.objects.create(on=FRIDAY, name="Mill holiday")
    assert FRIDAY not in days_on_duty(duty, 1)
    (week,) = week_of([oda], MONDAY.date(), Mill.objects.current().zone)
    assert len(week.bars) == 5


def test_work_that_was_placed_on_a_day_off_is_named_and_holds_again_when_it_is_taken_back() -> None:
    programme()
    on_shift()
    order = job()
    place_all(NOW)
    order.refresh_from_db()
    assert order.placement.start_at.date() == FRIDAY and failing_places(NOW).why == {}
    made = add_day_off(FRIDAY, "Mill holiday", by=None)
    assert list(failing_places(NOW).why) == [order.number]
    drop_day_off(made, by=None)
    assert failing_places(NOW).why == {}
    assert Change.objects.filter(act__startswith="day off").count() == 2


def test_a_planner_enters_a_day_off_once_and_takes_it_back() -> None:
    MillFactory()
    page: Client = signed_in(Client(), a_user("planner", "oda"))
    sent = page.post("/shifts/days-off/", {"on": "2026-12-25", "name": "Christmas Day"}, follow=True)
    assert "no shift begins on that day" in sent.content.decode()
    twice = page.post("/shifts/days-off/", {"on": "2026-12-25", "name": "Christmas"}).content.decode()
    assert "This day is a day off already." in twice
    made = DayOff.objects.get()
    page.post(f"/shifts/days-off/{made.pk}/off/")
    assert not DayOff.objects.exists()
    # Whoever taps a second time meets what is done already.
    assert page.post(f"/shifts/days-off/{made.pk}/off/").status_code == 302


def test_a_turn_of_one_week_in_two_is_given_on_the_page() -> None:
    programme()
    oda = on_shift()
    late = Shift.objects.create(code="late", name="Late", weekdays="MO", start_time="14:00", end_time="22:00")
    page: Client = signed_in(Client(), a_user("planner", "vera"))
    said = {"duty-shift": late.pk, "duty-from_on": "2026-03-09", "duty-every_weeks": "2"}
    page.post(f"/people/{oda.code}/shifts/", said)
    assert ShiftDuty.objects.get(shift=late).every_weeks == 2
    assert "one week in 2" in page.get(f"/people/{oda.code}/").content.decode()


@pytest.fixture
def placed() -> WorkOrder:
    """A job that is placed on Friday, with the one who does it."""
    programme()
    on_shift()
    order = job()
    place_all(NOW)
    order.refresh_from_db()
    return order


def lost(page: str, order: WorkOrder) -> bool:
    return f'1 job lost its place: <a href="{order.get_absolute_url()}">{order}</a> (' in page


def test_whoever_enters_a_day_off_an_absence_or_the_end_of_a_turn_hears_which_jobs_lose_their_place(
    placed: WorkOrder,
) -> None:
    page: Client = signed_in(Client(), a_user("planner", "vera"))

    def sent(address: str, said: dict[str, str]) -> str:
        return page.post(address, said, follow=True).content.decode()

    assert lost(sent("/shifts/days-off/", {"on": str(FRIDAY), "name": "Mill holiday"}), placed)
    assert "lost its place" not in sent("/shifts/days-off/", {"on": "2026-12-25", "name": "Christmas Day"})
    assert "lost its place" not in sent(f"/shifts/days-off/{DayOff.objects.get(on=FRIDAY).pk}/off/", {})
    duty = ShiftDuty.objects.select_related("person").get()
    of_person = f"/people/{duty.person.code}"
    away = {"absence-start_at": f"{FRIDAY}T00:00", "absence-end_at": f"{FRIDAY}T23:59"}
    assert lost(sent(f"{of_person}/absences/", away), placed)
    sent(f"{of_person}/absences/{duty.person.absences.get().pk}/off/", {})
    assert lost(sent(f"{of_person}/shifts/{duty.pk}/end/", {"until_on": str(FRIDAY - timedelta(days=1))}), placed)


def test_a_day_that_is_over_is_no_day_off_to_enter() -> None:
    MillFactory()
    page: Client = signed_in(Client(), a_user("planner", "oda"))
    yesterday = MONDAY.date() - timedelta(days=1)
    refused = page.post("/shifts/days-off/", {"on": str(yesterday), "name": "Sunday"}).content.decode()
    assert "This day is over. Choose one from today on." in refused and not DayOff.objects.exists()
    page.post("/shifts/days-off/", {"on": str(MONDAY.date()), "name": "Today"})
    assert DayOff.objects.get().on == MONDAY.date()
