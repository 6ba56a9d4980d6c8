"""People, skills, shifts, absences, sign-ins and roles."""

from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from plant import clock
from plant.models import Absence, Change, Person, Qualification, RoleHeld, Shift, ShiftDuty, User
from plant.people.working_week import say_weekdays, week_of
from tests.factories import MillFactory, PersonFactory, SkillFactory, UserFactory
from tests.pages import markup

pytestmark = pytest.mark.django_db
BACKEND = "django.contrib.auth.backends.ModelBackend"
ZONE = ZoneInfo("Europe/Stockholm")
WEDNESDAY = date(2026, 3, 4)
STRONG = "larch and pine 7"


@pytest.fixture(autouse=True)
def _a_wednesday_in_march(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: datetime(2026, 3, 4, 9, tzinfo=ZONE))


def signed_in(client: Client, role: str, name: str = "ada") -> Client:
    MillFactory()
    client.force_login(UserFactory(username=name, role=role), backend=BACKEND)
    return client


@pytest.fixture
def planner(client: Client) -> Client:
    return signed_in(client, "planner")


@pytest.fixture
def administrator(client: Client) -> Client:
    return signed_in(client, "administrator")


def early() -> Shift:
    return Shift.objects.get_or_create(
        code="early",
        defaults={"name": "early shift", "weekdays": "MO,TU,WE,TH,FR", "start_time": "06:00", "end_time": "14:00"},
    )[0]


def test_the_page_says_which_skills_ran_out_or_run_out_soon(planner: Client) -> None:
    per = PersonFactory(code="per")
    for code, until in (("crane", date(2026, 3, 3)), ("lift", date(2026, 4, 1)), ("weld", date(2027, 1, 1))):
        Qualification.objects.create(person=per, skill=SkillFactory(code=code), valid_until=until)
    page = planner.get("/people/")
    assert page.context["sentence"] == "1 person works here. 1 skill has run out. 1 skill runs out within 60 days."
    text = markup(page)
    assert "crane: ran out 3 Mar 2026" in text
    assert "lift: runs out 1 Apr" in text


def test_the_last_day_of_a_skill_still_counts(planner: Client) -> None:
    Qualification.objects.create(person=PersonFactory(), skill=SkillFactory(code="crane"), valid_until=WEDNESDAY)
    assert "crane: runs out 4 Mar" in markup(planner.get("/people/"))


def test_a_week_shows_shifts_less_absences() -> None:
    per = PersonFactory(code="per")
    duty = ShiftDuty.objects.create(person=per, shift=early(), from_on=date(2026, 3, 3), until_on=date(2026, 3, 5))
    duty.refresh_from_db()
    away = datetime(2026, 3, 4, 12, tzinfo=ZONE)
    Absence.objects.create(person=per, start_at=away, end_at=away + timedelta(hours=1))
    (week,) = week_of([per], WEDNESDAY, ZONE)
    assert [bar.is_absent for bar in week.bars] == [False, True, False]
    assert week.bars[0].left == pytest.approx((24 + 6) / 168 * 100, abs=0.01)
    assert week.bars[0].width == pytest.approx(8 / 168 * 100, abs=0.01)


def test_a_night_shift_ends_on_the_next_day_and_stays_in_the_picture() -> None:
    night = Shift.objects.create(code="night", name="night", weekdays="SU", start_time="22:00", end_time="06:00")
    ShiftDuty.objects.create(person=PersonFactory(), shift=night, from_on=date(2026, 1, 1))
    ((bar,),) = (week.bars for week in week_of(Person.objects.all(), WEDNESDAY, ZONE))
    assert bar.left + bar.width == pytest.approx(100, abs=0.01)
    assert bar.text == "night 22:00–06:00"


@pytest.mark.parametrize("week", ["nonsense", "9999-12-31", "0001-01-01", ""])
def test_a_week_that_cannot_be_shown_becomes_this_one(planner: Client, week: str) -> None:
    assert planner.get("/people/", {"week": week}).context["days"][0] == date(2026, 3, 2)


def test_somebody_is_put_on_record_once(planner: Client) -> None:
    new = {"code": "tove", "name": "Tove", "email": "", "phone": ""}
    assert planner.post("/new-person/", new)["Location"] == "/people/tove/"
    assert "already exists" in planner.post("/new-person/", new).content.decode()


def test_particulars_changed_meanwhile_are_not_overwritten_unseen(planner: Client) -> None:
    PersonFactory(code="per")
    seen = planner.get("/people/per/particulars/").context["form"].fields["seen"].initial
    Person.objects.update(phone="0700 1")
    sent = {"name": "Per Ek", "email": "", "phone": "", "is_active": "on", "seen": seen}
    assert "changed this meanwhile" in planner.post("/people/per/particulars/", sent).content.decode()
    assert Person.objects.get(code="per").name == "Per"


def test_a_skill_is_added_renewed_and_taken_off_with_its_history(planner: Client) -> None:
    per, crane = PersonFactory(code="per"), SkillFactory(code="crane")
    for until in ("2026-06-01", "2027-06-01"):
        planner.post("/people/per/skills/", {"skill-skill": crane.pk, "skill-valid_until": until})
    held = Qualification.objects.get()
    assert held.valid_until == date(2027, 6, 1)
    planner.post(f"/people/per/skills/{held.pk}/off/")
    assert not Qualification.objects.exists()
    entries = list(Change.objects.about(per))
    assert [entry.before.get("valid_until") for entry in entries] == [None, "2026-06-01", "2027-06-01"]


def test_a_turn_that_overlaps_another_on_the_same_shift_is_refused(planner: Client) -> None:
    PersonFactory(code="per")
    turn = {"duty-shift": early().pk, "duty-from_on": "2026-03-01", "duty-until_on": "2026-03-31"}
    assert planner.post("/people/per/shifts/", turn).status_code == 302
    page = planner.post("/people/per/shifts/", {**turn, "duty-from_on": "2026-03-31", "duty-until_on": ""})
    assert "already. End that turn first." in page.content.decode()
    late = {**turn, "duty-from_on": "2026-04-10", "duty-until_on": "2026-04-01"}
    assert "lies before the first" in planner.post("/people/per/shifts/", late).content.decode()
    assert ShiftDuty.objects.count() == 1


def test_a_turn_ends_with_a_day(planner: Client) -> None:
    duty = ShiftDuty.objects.create(person=PersonFactory(code="per"), shift=early(), from_on=date(2026, 3, 1))
    url = f"/people/per/shifts/{duty.pk}/end/"
    assert "lies before the first" in planner.post(url, {"until_on": "2026-02-01"}).content.decode()
    planner.post(url, {"until_on": "2026-03-20"})
    duty.refresh_from_db()
    assert duty.until_on == date(2026, 3, 20)


def test_an_absence_is_in_the_mills_time_and_not_entered_twice(planner: Client) -> None:
    PersonFactory(code="per")
    away = {
        "absence-start_at": "2026-03-09T06:00",
        "absence-end_at": "2026-03-10T14:00",
        "absence-reason": "training",
    }
    planner.post("/people/per/absences/", away)
    absence = Absence.objects.get()
    assert absence.start_at == datetime(2026, 3, 9, 6, tzinfo=ZONE)
    page = planner.post("/people/per/absences/", away).content.decode()
    assert "is absent in that time already" in page
    assert "training" in page
    backwards = {**away, "absence-end_at": "2026-03-08T14:00"}
    assert "must end after it begins" in planner.post("/people/per/absences/", backwards).content.decode()
    planner.post(f"/people/per/absences/{absence.pk}/off/")
    assert not Absence.objects.exists()


def test_a_time_that_the_clock_change_skips_is_refused(planner: Client) -> None:
    PersonFactory(code="per")
    away = {"absence-start_at": "2026-03-29T02:30", "absence-end_at": "2026-03-30T02:30"}
    assert "interpreted in time zone" in planner.post("/people/per/absences/", away).content.decode()


@pytest.mark.parametrize("role", ["technician", "manager", "auditor", "kiln_master", "storekeeper"])
def test_who_may_only_look_changes_nothing(client: Client, role: str) -> None:
    PersonFactory(code="per")
    browser = signed_in(client, role, "rolf")
    assert browser.post("/people/per/skills/", {}).status_code == 403
    assert browser.get("/sign-ins/").status_code == 403
    assert "Add or renew a skill" not in browser.get("/people/per/").content.decode()


def give(browser: Client, **changed: Any) -> Any:
    sent = {"username": "per", "password": STRONG, "roles": ["technician", "storekeeper"], **changed}
    return browser.post("/people/per/sign-in/", sent)


def test_a_sign_in_is_given_with_a_first_password_that_nobody_can_read(administrator: Client) -> None:
    per = PersonFactory(code="per")
    assert give(administrator).status_code == 302
    user = User.objects.get(person=per)
    assert user.check_password(STRONG)
    assert set(user.roles_held.values_list("role", flat=True)) == {"technician", "storekeeper"}
    assert STRONG not in repr(Change.objects.values_list("before", "after", "note"))
    assert STRONG not in administrator.get("/people/per/").content.decode()


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"password": "short"}, "too short"),
        ({"username": "ADA"}, "signs in with this name already"),
        ({"roles": []}, "This field is required"),
        ({"roles": ["emperor"]}, "Select a valid choice"),
    ],
)
def test_a_faulty_sign_in_is_refused_and_the_password_is_not_sent_back(
    administrator: Client, changed: dict[str, Any], message: str
) -> None:
    PersonFactory(code="per")
    page = give(administrator, **changed).content.decode()
    assert message in page
    assert STRONG not in page
    assert User.objects.count() == 1


def test_a_person_has_one_sign_in(administrator: Client) -> None:
    PersonFactory(code="per")
    give(administrator)
    assert "has a sign-in already" in give(administrator, username="per2").content.decode()


def test_the_last_administrator_cannot_be_removed_or_switched_off(administrator: Client) -> None:
    ada = User.objects.get(username="ada")
    url = f"/sign-ins/{ada.pk}/"
    for sent in ({"roles": ["planner"], "is_active": "on"}, {"roles": ["administrator"]}):
        assert "is the only administrator" in administrator.post(url, sent).content.decode()
    UserFactory(username="bo", role="administrator")
    assert administrator.post(url, {"roles": ["planner"], "is_active": "on"}).status_code == 302
    assert list(RoleHeld.objects.filter(user=ada).values_list("role", flat=True)) == ["planner"]


def test_an_administrator_who_is_switched_off_does_not_count(administrator: Client) -> None:
    UserFactory(username="bo", role="administrator", is_active=False)
    ada = User.objects.get(username="ada")
    assert "is the only administrator" in administrator.post(f"/sign-ins/{ada.pk}/", {}).content.decode()


def test_a_sign_in_that_is_switched_off_no_longer_opens(administrator: Client) -> None:
    PersonFactory(code="per")
    give(administrator)
    user = User.objects.get(username="per")
    sign_in = {"username": "per", "password": STRONG}
    assert Client().post("/sign-in/", sign_in).status_code == 302
    administrator.post(f"/sign-ins/{user.pk}/", {"roles": ["technician"]})
    assert Client().post("/sign-in/", sign_in).status_code == 200
    entry = Change.objects.about(user.person).last()
    assert entry is not None
    assert entry.after == {"roles": ["technician"], "may_sign_in": False}


def test_a_new_first_password_replaces_the_lost_one(administrator: Client) -> None:
    user = UserFactory(username="per", role="technician")
    url = f"/sign-ins/{user.pk}/first-password/"
    assert "too common" in administrator.post(url, {"password": "password123"}).content.decode()
    assert administrator.post(url, {"password": STRONG}).status_code == 302
    user.refresh_from_db()
    assert (user.check_password(STRONG), user.has_first_password) == (True, True)


def with_first_password(client: Client, administrator: Client) -> User:
    """Per, with a first password, signed in as a person does it."""
    PersonFactory(code="per")
    give(administrator)
    client.logout()
    answer = client.post("/sign-in/", {"username": "per", "password": STRONG})
    assert answer.status_code == 302
    return User.objects.get(username="per")


def test_a_first_password_is_changed_before_anything_else(client: Client, administrator: Client) -> None:
    user = with_first_password(client, administrator)
    assert user.has_first_password
    for url in ("/", "/my-work/", "/people/", "/stores/"):
        assert client.get(url)["Location"] == "/own-password/", url
    partial = client.get("/kilns/?kiln=K1", headers={"HX-Request": "true"})
    assert (partial.content, partial["HX-Redirect"]) == (b"", "/own-password/")
    assert "Somebody else chose the password" in client.get("/own-password/").content.decode()
    assert client.get("/alive/").status_code == 200
    own = "spruce and oak 8"
    client.post("/own-password/", {"old_password": STRONG, "new_password1": own, "new_password2": own})
    user.refresh_from_db()
    assert (user.has_first_password, user.check_password(own)) == (False, True)
    assert client.get("/my-work/").status_code == 200


def test_the_first_password_is_not_taken_once_more(client: Client, administrator: Client) -> None:
    with_first_password(client, administrator)
    sent = {"old_password": STRONG, "new_password1": STRONG, "new_password2": STRONG}
    assert "choose another" in client.post("/own-password/", sent).content.decode()
    assert User.objects.get(username="per").has_first_password


def test_nothing_is_done_on_the_way_to_a_password_of_ones_own(client: Client, administrator: Client) -> None:
    user = with_first_password(client, administrator)
    user.roles_held.create(role="planner")
    assert client.post("/new-person/", {"code": "x", "name": "X"})["Location"] == "/own-password/"
    assert not Person.objects.filter(code="x").exists()
    client.post("/sign-out/")
    assert client.get("/people/")["Location"].startswith("/sign-in/")


def test_an_administrator_who_sets_the_own_password_need_not_change_it_again(administrator: Client) -> None:
    ada = User.objects.get(username="ada")
    administrator.post(f"/sign-ins/{ada.pk}/first-password/", {"password": STRONG})
    ada.refresh_from_db()
    assert (ada.check_password(STRONG), ada.has_first_password) == (True, False)


def test_everybody_changes_the_own_password_and_stays_signed_in(client: Client) -> None:
    signed_in(client, "auditor")
    user = User.objects.get()
    user.set_password("old timber 99")
    user.save()
    client.force_login(user, backend=BACKEND)
    sent = {"old_password": "old timber 99", "new_password1": STRONG, "new_password2": STRONG}
    assert client.post("/own-password/", sent)["Location"] == "/"
    assert client.get("/people/").status_code == 200
    user.refresh_from_db()
    assert user.check_password(STRONG)


def queries_of(act: Callable[[], Any]) -> int:
    with CaptureQueriesContext(connection) as caught:
        act()
    return len(caught)


def test_the_page_takes_the_same_number_of_queries_for_few_and_for_many(planner: Client) -> None:
    def fill(codes: range) -> None:
        for number in codes:
            person = PersonFactory(code=f"p{number}")
            UserFactory(username=f"p{number}", role="technician", person=person)
            Qualification.objects.create(person=person, skill=SkillFactory(code="crane"))
            ShiftDuty.objects.create(person=person, shift=early(), from_on=date(2026, 1, 1))
            start = datetime(2026, 3, 6, tzinfo=ZONE)
            Absence.objects.create(person=person, start_at=start, end_at=start + timedelta(days=1))

    fill(range(2))
    few = queries_of(lambda: planner.get("/people/"))
    fill(range(2, 30))
    assert queries_of(lambda: planner.get("/people/")) == few


@pytest.mark.parametrize(
    ("weekdays", "said"),
    [
        ("MO,TU,WE,TH,FR", "Monday to Friday"),
        ("MO, TU, WE, TH, FR, SA, SU", "every day"),
        ("SA,SU", "Saturday, Sunday"),
        ("MO,WE,TH,FR", "Monday, Wednesday to Friday"),
        ("SU,MO", "Monday, Sunday"),
        ("", ""),
    ],
)
def test_the_days_of_a_shift_are_said_in_words(weekdays: str, said: str) -> None:
    assert say_weekdays(weekdays) == said
