"""A mill that begins with an empty database and a browser: its name, its kilns, its shifts."""

from io import StringIO
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from maintenance.loading.loader import load_catalogue
from maintenance.models import StandingTask, Watch
from maintenance.watches.settings import set_up_watches
from plant.models import Change, Channel, ComponentKind, Kiln, Mill, Person, Shift, ShiftDuty, User
from plant.people.keeping import add_shift
from tests.factories import MONDAY, KilnFactory, MillFactory, PersonFactory, UserFactory

pytestmark = pytest.mark.django_db
TODAY = MONDAY.date()
ANSWERS = {
    "tag": "K1",
    "name": "North kiln",
    "usable_m3": "86",
    "heating_medium": "hot_water",
    "humidifying": "water_spray",
    "climate_sensing": "psychrometer",
    "is_reversing": "on",
    "is_inner_skin_visible": "on",
    "main_doors": "1",
    "escape_doors": "2",
    "fans": "3",
    "electrode_groups": "2",
}


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: MONDAY)


@pytest.fixture
def ada(client: Client) -> Client:
    """The administrator, signed in."""
    client.force_login(UserFactory(role="administrator"))
    return client


@pytest.fixture
def begun(ada: Client) -> Client:
    """A mill that was named and has the catalogue."""
    MillFactory()
    load_catalogue()
    return ada


def kept_answers(client: Client, **changes: Any) -> dict[str, Any]:
    """What a browser sends when all that is proposed stays as it is."""
    shown = client.post(reverse("maintenance:kiln-new"), ANSWERS).context
    positions = [row["proposed"].position.tag for group in shown["groups"] for row in group["rows"]]
    tasks = [*shown["first_tasks"], *shown["other_tasks"]]
    intervals = {f"every-{row['proposed'].key}": row["every"] for row in tasks}
    keys = [row["proposed"].key for row in tasks if row["is_ticked"]]
    codes = [row["proposed"].spec.code for row in shown["watches"] if row["is_ticked"]]
    numbers = {f"number-{row['proposed'].spec.code}": row["number"] for row in shown["watches"]}
    ticked = {"position": positions, "task": keys, "watch": codes}
    return {**ANSWERS, "keep": "1", **ticked, **intervals, **numbers, **changes}


def test_the_first_administrator_comes_by_a_command_and_is_the_only_one_to_do_so() -> None:
    told = StringIO()
    call_command("administrator", "anna", "--name", "Anna Ash", stdout=told)
    user = User.objects.get(username="anna")
    assert user.may("give sign-ins") and user.has_first_password and user.person.name == "Anna Ash"
    password = told.getvalue().split()[4]
    assert user.check_password(password)
    with pytest.raises(CommandError, match="on record already"):
        call_command("administrator", "berta")
    assert Person.objects.count() == 1


@pytest.mark.parametrize("name", ["", "///"])
def test_an_administrator_needs_a_name_that_can_be_one(name: str) -> None:
    with pytest.raises(CommandError, match="will not do"):
        call_command("administrator", name)
    assert not User.objects.exists()


def test_an_empty_database_leads_to_the_mills_name(ada: Client) -> None:
    page = ada.get("/", follow=True)
    assert page.redirect_chain[-1][0] == reverse("maintenance:first-hour")
    assert page.context["first"].url == reverse("maintenance:mill-begin")
    assert ada.get(reverse("maintenance:kiln-new")).url == reverse("maintenance:first-hour")


def test_a_mill_is_named_once_and_has_the_catalogue_then(ada: Client) -> None:
    said = {
        "name": "Fallow Bridge Sawmill",
        "time_zone": "Europe/Stockholm",
        "currency": "sek",
        "temperature_unit": "degC",
        "volume_unit": "m3",
    }
    ada.post(reverse("maintenance:mill-begin"), said)
    mill = Mill.objects.get()
    assert mill.currency == "SEK" and ComponentKind.objects.count() >= 40
    again = ada.post(reverse("maintenance:mill-begin"), said | {"name": "Another"})
    assert "on record already" in again.content.decode()
    assert Mill.objects.get().name == "Fallow Bridge Sawmill"


def test_a_mill_in_a_zone_that_nobody_knows_is_refused(ada: Client) -> None:
    page = ada.post(reverse("maintenance:mill-begin"), {"name": "M", "time_zone": "Mars/Crater", "currency": "EUR"})
    assert page.context["form"].errors["time_zone"] and not Mill.objects.exists()


def test_a_kiln_is_proposed_from_a_few_answers_and_nothing_is_kept_before(begun: Client) -> None:
    page = begun.post(reverse("maintenance:kiln-new"), ANSWERS)
    assert not Kiln.objects.exists()
    text = page.content.decode()
    assert "Fan 3" in text and "Steam trap" not in text
    assert "Whoever is inside must find out" in text and "29 CFR" not in text.split("What recurs")[0]


def test_a_kiln_without_an_escape_door_is_warned_of(begun: Client) -> None:
    said = "needs a way out that opens from inside"
    without = " ".join(begun.post("/new-kiln/", {**ANSWERS, "escape_doors": "0"}).content.decode().split())
    assert said in without and "Local rules and the employer's assessment come first" in without
    assert said not in " ".join(begun.post("/new-kiln/", ANSWERS).content.decode().split())


@pytest.mark.parametrize(("bar", "is_said"), [("", True), ("0", True), ("7", False)])
def test_steam_without_a_pressure_says_why_no_survey_of_traps_is_ticked(begun: Client, bar: str, is_said: bool) -> None:
    page = begun.post("/new-kiln/", {**ANSWERS, "heating_medium": "steam", "steam_bar": bar})
    assert ("No survey of the steam traps is ticked" in page.content.decode()) is is_said
    assert "No survey of the steam traps" not in begun.post("/new-kiln/", ANSWERS).content.decode()


def test_no_measured_quantity_is_asked_for_twice(begun: Client) -> None:
    watches = begun.post("/new-kiln/", ANSWERS).context["watches"]
    one = next(row for row in watches if row["proposed"].spec.signal.endswith(":3"))
    assert one["needs"] == "fan current 3"


def test_what_stays_ticked_is_kept_with_what_recurs_on_it(begun: Client) -> None:
    page = begun.post(reverse("maintenance:kiln-new"), kept_answers(begun), follow=True)
    kiln = Kiln.objects.get()
    assert page.redirect_chain[-1][0] == reverse("maintenance:kiln", args=["K1"])
    assert kiln.components.filter(kind__code="fan").count() == 3
    doors = StandingTask.objects.filter(sheet__code="escape-door-proof-test")
    assert {task.component.tag for task in doors} == {"escape-door-1", "escape-door-2"}
    assert all(task.next_due_on == TODAY for task in doors), "safety work is due at once"
    grease = StandingTask.objects.get(sheet__code="fan-grease")
    assert grease.component is None and grease.every_running_h == 2000
    assert Change.objects.about(kiln).get().by is not None


def test_what_was_unticked_is_not_there_and_nothing_recurs_on_it(begun: Client) -> None:
    said = kept_answers(begun)
    said["position"] = [tag for tag in said["position"] if not tag.startswith(("water-supply", "fan-2"))]
    begun.post(reverse("maintenance:kiln-new"), said | {"every-fan-blade-inspection": "3"})
    kiln = Kiln.objects.get()
    assert not kiln.components.filter(tag__in=["water-supply", "fan-2"]).exists()
    assert not kiln.standing_tasks.filter(sheet__code="water-filter-service").exists()
    assert kiln.standing_tasks.get(sheet__code="fan-blade-inspection").every == 3


def test_watches_that_suit_such_a_kiln_are_put_on_record_switched_off_with_the_source_of_their_limits(
    begun: Client,
) -> None:
    text = begun.post(reverse("maintenance:kiln-new"), ANSWERS).content.decode()
    assert "Wick dry or no water (left)" in text and "numbers tried on the simulated chamber" in text
    assert "Plate far from the psychrometer" not in text, "it has no plates"
    begun.post(reverse("maintenance:kiln-new"), kept_answers(begun))
    watch = Kiln.objects.get().watches.get(code="wick-dry-left")
    assert watch.is_shipped and not watch.is_on and watch.component.tag == "psychrometer-left"
    page = begun.post(reverse("maintenance:watch-on", args=[watch.pk]), {"version": 0}, follow=True).content.decode()
    assert "It would see nothing. K1 has no channel for" in page and "This watch sees nothing now." in page
    for quantity, place in [("air_temperature", "left"), ("wet_bulb", "left"), ("wet_bulb", "right")]:
        Channel.objects.create(kiln=watch.kiln, quantity=quantity, place=place)
    Channel.objects.create(kiln=watch.kiln, quantity="air_temperature", place="right")
    Channel.objects.create(kiln=watch.kiln, quantity="fan_direction")
    begun.post(reverse("maintenance:watch-on", args=[watch.pk]), {"version": 0})
    watch.refresh_from_db()
    assert watch.is_on
    assert all(one.is_shipped for one in set_up_watches(watch.kiln, by=None).watches)
    assert watch.kiln.watches.filter(name=watch.name).count() == 1, "what is there is not set up twice"


def test_a_watch_that_was_unticked_or_suspects_what_was_unticked_is_not_there(begun: Client) -> None:
    said = kept_answers(begun)
    said["watch"] = [code for code in said["watch"] if code != "no-data"]
    said["position"] = [tag for tag in said["position"] if tag != "psychrometer-left"]
    begun.post(reverse("maintenance:kiln-new"), said)
    codes = set(Kiln.objects.get().watches.values_list("code", flat=True))
    assert codes.isdisjoint({"no-data", "wick-dry-left"}) and "wick-dry-right" in codes


def test_another_limit_makes_a_watch_of_the_mills_own_and_its_end_moves_along(begun: Client) -> None:
    Mill.objects.update(temperature_unit="degF")
    said = kept_answers(begun)
    assert said["number-wick-dry-left"] == "3.42", "1.9 K"
    begun.post(reverse("maintenance:kiln-new"), said | {"number-wick-dry-left": "4.5"})
    own = Kiln.objects.get().watches.get(is_shipped=False)
    assert own.code != "wick-dry-left" and "Wick dry or no water (left)" in own.source
    assert own.parameters["limit"] == pytest.approx(2.5) and own.parameters["clear"] == pytest.approx(1.8)
    assert not own.kiln.watches.filter(code="wick-dry-left").exists()


@pytest.mark.parametrize("number", ["", "much", "nan", "1e300"])
def test_a_limit_that_is_none_is_named_and_nothing_is_kept(begun: Client, number: str) -> None:
    page = begun.post(reverse("maintenance:kiln-new"), kept_answers(begun) | {"number-wick-dry-left": number})
    assert "Wick dry or no water (left), Limit" in str(page.context["form"].non_field_errors())
    assert not Kiln.objects.exists() and not Watch.objects.exists()


@pytest.mark.parametrize("every", ["", "0", "often", "-2", "100001", "²"])
def test_an_interval_that_is_none_is_named_and_nothing_is_kept(begun: Client, every: str) -> None:
    said = kept_answers(begun) | {"every-fan-blade-inspection": every}
    said["position"] = said["position"][:-1]
    page = begun.post(reverse("maintenance:kiln-new"), said)
    assert "Inspect fan blades" in str(page.context["form"].non_field_errors())
    assert not Kiln.objects.exists() and not StandingTask.objects.exists()
    ticked = [row["is_ticked"] for group in page.context["groups"] for row in group["rows"]]
    assert ticked.count(False) == 1, "what was ticked stays so"


def test_a_kiln_without_a_component_is_refused(begun: Client) -> None:
    page = begun.post(reverse("maintenance:kiln-new"), kept_answers(begun) | {"position": []})
    assert "leave at least one" in page.content.decode() and not Kiln.objects.exists()


def test_a_tag_that_another_kiln_has_is_refused_when_the_form_is_sent_twice(begun: Client) -> None:
    said = kept_answers(begun)
    begun.post(reverse("maintenance:kiln-new"), said)
    page = begun.post(reverse("maintenance:kiln-new"), said)
    assert page.context["form"].errors["tag"] and Kiln.objects.count() == 1


def test_the_way_back_keeps_the_answers(begun: Client) -> None:
    page = begun.post(reverse("maintenance:kiln-new"), kept_answers(begun) | {"back": "1"})
    assert page.context["form"]["fans"].value() == "3" and "What is proposed for" not in page.content.decode()


def test_nobody_else_names_the_mill_or_puts_a_kiln_on_record(client: Client) -> None:
    client.force_login(UserFactory(role="technician"))
    assert client.get(reverse("maintenance:mill-begin")).status_code == 403
    page = client.get(reverse("maintenance:first-hour"))
    assert page.status_code == 200 and all(step.url == "" for step in page.context["steps"][:2])


def test_the_first_hour_goes_on_to_what_is_missing(begun: Client) -> None:
    assert begun.get(reverse("maintenance:first-hour")).context["first"].url == reverse("maintenance:kiln-new")
    KilnFactory()
    page = begun.get(reverse("maintenance:first-hour"))
    assert page.context["first"].url == reverse("plant:charge-plan")


def test_the_steps_ask_as_many_questions_however_much_is_there(
    begun: Client, django_assert_max_num_queries: Any
) -> None:
    for number in range(5):
        KilnFactory(tag=f"K{number}")
    with django_assert_max_num_queries(40):
        begun.get(reverse("maintenance:first-hour"))


# --- shifts

EARLY = {
    "code": "early",
    "name": "Early shift",
    "weekdays": ["MO", "TU", "FR"],
    "start_time": "06:00",
    "end_time": "14:00",
    "overtime_minutes": "90",
}


def test_a_shift_is_put_on_record_and_changed_for_all_who_are_on_it(begun: Client) -> None:
    begun.post(reverse("plant:shift-add"), EARLY)
    shift = Shift.objects.get()
    assert (shift.weekdays, shift.overtime_minutes) == ("MO,TU,FR", 90)
    ShiftDuty.objects.create(person=PersonFactory(), shift=shift, from_on=TODAY)
    page = begun.get(reverse("plant:shifts")).content.decode()
    assert "1 person" in page and "14:00" in page
    form = begun.get(reverse("plant:shift-edit", args=["early"])).context["form"]
    assert form["weekdays"].value() == ["MO", "TU", "FR"]
    said = EARLY | {"end_time": "02:00", "seen": form["seen"].value()}
    begun.post(reverse("plant:shift-edit", args=["early"]), said)
    assert "on the next day" in begun.get(reverse("plant:shifts")).content.decode()
    # Another window still shows the old state.
    again = begun.post(reverse("plant:shift-edit", args=["early"]), said | {"end_time": "13:00"})
    assert "changed this meanwhile" in again.content.decode()
    assert Change.objects.about(shift).count() == 2


@pytest.mark.parametrize(
    ("change", "field"),
    [({"weekdays": []}, "weekdays"), ({"end_time": "06:00"}, "end_time"), ({"code": "new"}, "code")],
)
def test_a_shift_that_cannot_be_is_refused(begun: Client, change: dict[str, Any], field: str) -> None:
    page = begun.post(reverse("plant:shift-add"), EARLY | change)
    assert page.context["form"].errors[field] and not Shift.objects.exists()


def test_a_shift_that_nobody_may_change_is_not_changed() -> None:
    with pytest.raises(PermissionDenied):
        add_shift(EARLY, by=UserFactory(role="technician"))
