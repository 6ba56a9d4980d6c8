"""What recurs, on screen: the list, one task with its dates, the form with the dates before they are saved."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from maintenance.models import MissedOccurrence, StandingDefault, StandingTask
from plant.models import Change
from tests.factories import MONDAY, ComponentFactory, KilnFactory, MillFactory, TaskSheetFactory, UserFactory
from tests.maintenance.placing_mill import standing

pytestmark = pytest.mark.django_db
NOW = MONDAY + timedelta(hours=1)
TODAY = MONDAY.date()


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)


@pytest.fixture
def planner(client: Client) -> Client:
    client.force_login(UserFactory(role="planner"))
    return client


def _text(response: Any) -> str:
    assert response.status_code == 200, response.status_code
    text: str = response.content.decode()
    return text


def _filled(**changes: Any) -> dict[str, Any]:
    given: dict[str, Any] = {
        "anchor_on": "2026-03-31",
        "every": 1,
        "every_unit": "month",
        "rrule": "",
        "month_end": "last_day",
        "window_before_days": 3,
        "window_after_days": 3,
        "practice": "anchored_inside_window",
        "version": 0,
    }
    return {**given, **changes}


def _new_url() -> str:
    sheet, kiln = TaskSheetFactory(), KilnFactory()
    return reverse("maintenance:standing-task-new") + f"?sheet={sheet.code}&kiln={kiln.tag}"


# --- looking --------------------------------------------------------------------------------------


def test_an_empty_list_teaches_what_a_recurring_task_is(planner: Client) -> None:
    MillFactory()
    assert "Nothing recurs yet." in _text(planner.get(reverse("maintenance:standing-tasks")))


def test_the_list_says_rule_due_date_and_whose_interval_it_is(planner: Client) -> None:
    standing(next_due_on=TODAY - timedelta(days=3))
    text = _text(planner.get(reverse("maintenance:standing-tasks")))
    assert "1 task recurs; 1 of them overdue." in text
    assert "Every 4 weeks" in text
    assert "the mill's own choice" in text
    assert "overdue" in text


def test_the_list_can_be_narrowed_by_kiln_and_word(planner: Client) -> None:
    standing(code="one", kiln=KilnFactory(tag="K1"))
    other = TaskSheetFactory(code="wick", title="Exchange the wick")
    standing(code="two", kiln=KilnFactory(tag="K2"), sheet=other)
    url = reverse("maintenance:standing-tasks")
    assert "Exchange the wick" not in _text(planner.get(url, {"kiln": "K1"}))
    text = _text(planner.get(url, {"q": "wick"}))
    assert "Exchange the wick" in text
    assert "Grease" not in text
    assert "Nothing fits." in _text(planner.get(url, {"q": "burner"}))


def test_the_list_asks_as_much_for_many_rows_as_for_few(planner: Client, django_assert_num_queries: Any) -> None:
    standing(code="t")
    url = reverse("maintenance:standing-tasks")
    planner.get(url)
    with CaptureQueriesContext(connection) as few:
        planner.get(url)
    for n in range(20):
        standing(code=f"t{n}")
    with django_assert_num_queries(len(few)):
        planner.get(url)


def test_a_task_shows_its_next_six_dates_and_what_was_missed(planner: Client) -> None:
    task = standing()
    MissedOccurrence.objects.create(standing_task=task, due_on=date(2026, 1, 19), recorded_at=NOW)
    text = _text(planner.get(task.get_absolute_url()))
    for day in ("Monday 16 March 2026", "Monday 13 April 2026", "Monday 3 August 2026"):
        assert day in text
    assert "Mon 19 Jan 2026" in text
    assert "10 days before to 7 days after" in text


def test_a_rule_that_cannot_be_followed_is_said_and_breaks_no_page(planner: Client) -> None:
    task = standing(every=None, every_unit="", rrule="FREQ=FORTNIGHTLY")
    assert "FREQ=FORTNIGHTLY is unknown" in _text(planner.get(task.get_absolute_url()))
    assert "Cannot be followed" in _text(planner.get(reverse("maintenance:standing-tasks")))
    assert "FREQ=FORTNIGHTLY is unknown" in _text(
        planner.get(reverse("maintenance:standing-task-edit", args=[task.code]))
    )


# --- making ---------------------------------------------------------------------------------------


def test_the_dates_show_before_anything_is_saved(planner: Client) -> None:
    text = _text(planner.post(_new_url(), _filled(preview="yes"), headers={"HX-Request": "true"}))
    assert "<html" not in text
    for day in ("Tuesday 31 March 2026", "Thursday 30 April 2026", "Monday 31 August 2026"):
        assert day in text
    assert not StandingTask.objects.exists()


def test_what_htmx_asks_for_is_never_saved(planner: Client) -> None:
    planner.post(_new_url(), _filled(), headers={"HX-Request": "true"})
    assert not StandingTask.objects.exists()


@pytest.mark.parametrize(
    ("month_end", "april", "words"),
    [
        ("last_day", "30 April 2026", "on the last day where the 31st does not exist"),
        ("skip", "31 May 2026", "leaving out the month"),
        ("next_first", "1 May 2026", "on the first day of the next month"),
    ],
)
def test_short_months_are_a_choice_made_in_words(planner: Client, month_end: str, april: str, words: str) -> None:
    text = _text(planner.post(_new_url(), _filled(month_end=month_end, preview="yes"), headers={"HX-Request": "true"}))
    assert april in text
    assert words in text


def test_a_task_is_made_with_the_resets_of_a_published_practice(planner: Client) -> None:
    answer = planner.post(_new_url(), _filled(code="k1-new"))
    task = StandingTask.objects.get()
    assert answer.status_code == 302
    assert (task.code, task.next_due_on, task.is_interval_published) == ("k1-new", date(2026, 3, 31), False)
    assert (task.reset_early, task.reset_inside, task.reset_late) == ("completion", "anchored", "completion")
    assert Change.objects.about(task).get().act == "made"


def test_a_form_that_is_sent_twice_makes_one_task(planner: Client) -> None:
    url = _new_url()
    for _n in range(2):
        assert planner.post(url, _filled(code="k1-new")).status_code == 302
    assert StandingTask.objects.count() == 1


def _default(interval_is: str, **changes: Any) -> None:
    given: dict[str, Any] = {
        "sheet": TaskSheetFactory(),
        "every": 1,
        "every_unit": "year",
        "window_before": 30,
        "window_after": 30,
        "reset_early": "completion",
        "reset_inside": "anchored",
        "reset_late": "completion",
        "interval_is": interval_is,
        "source": "a standard, clause 4",
    }
    StandingDefault.objects.create(**{**given, **changes})


def test_the_catalogue_proposes_and_a_published_interval_names_its_source(planner: Client) -> None:
    _default("published")
    url = _new_url()
    text = _text(planner.get(url))
    assert 'name="every" value="12"' in text
    assert "The interval is published: a standard, clause 4." in text
    planner.post(url, _filled(every=12))
    planner.post(url, _filled(every=6))
    published = StandingTask.objects.order_by("pk").values_list("every", "is_interval_published")
    assert list(published) == [(12, True), (6, False)]


def test_only_fitting_components_of_the_kiln_are_offered(planner: Client) -> None:
    fitting = ComponentFactory()
    ComponentFactory(kiln=KilnFactory(tag="K2"), name="fan of another kiln")
    text = _text(planner.get(_new_url()))
    assert fitting.name in text
    assert "fan of another kiln" not in text


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"every": "", "every_unit": ""}, "Say how often"),
        ({"every_unit": ""}, "Every so many what?"),
        ({"rrule": "FREQ=DAILY"}, "both given"),
        ({"every": "", "every_unit": "", "rrule": "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30"}, "never gives a date"),
        ({"window_before_days": 40}, "window opens 40 days before"),
        ({"anchor_on": "someday"}, "Enter a valid date"),
        ({"every": 0}, "Say how often"),
        ({"every": "", "every_running_h": 10**15}, "less than or equal to 1000000"),
        ({"window_after_days": -1}, "greater than or equal to 0"),
        ({"every": 999_999}, "outside 1 to 9999"),
    ],
)
def test_a_rule_that_makes_no_sense_is_refused_with_the_reason(
    planner: Client, changes: dict[str, Any], words: str
) -> None:
    text = _text(planner.post(_new_url(), _filled(**changes)))
    assert words in text
    assert not StandingTask.objects.exists()


# --- changing -------------------------------------------------------------------------------------


def test_a_changed_rule_gives_new_dates_and_is_on_record(planner: Client) -> None:
    task = standing(next_due_on=TODAY + timedelta(days=14))
    url = reverse("maintenance:standing-task-edit", args=[task.code])
    assert planner.post(url, _filled()).status_code == 302
    task.refresh_from_db()
    assert (task.every_unit, task.next_due_on, task.version) == ("month", date(2026, 3, 31), 1)
    assert Change.objects.about(task).get().before["every_unit"] == "week"


def test_a_first_date_set_after_the_last_work_is_the_next_date(planner: Client) -> None:
    task = standing(last_done_on=TODAY - timedelta(days=5), last_due_on=TODAY - timedelta(days=5))
    planner.post(reverse("maintenance:standing-task-edit", args=[task.code]), _filled(anchor_on="2026-03-20"))
    task.refresh_from_db()
    assert task.next_due_on == date(2026, 3, 20)


def test_a_stale_form_keeps_what_was_typed(planner: Client) -> None:
    task = standing(version=3)
    text = _text(planner.post(reverse("maintenance:standing-task-edit", args=[task.code]), _filled(every=7)))
    assert "changed this meanwhile" in text
    assert 'name="every" value="7"' in text
    task.refresh_from_db()
    assert task.every == 4


def test_a_task_is_withdrawn_with_a_reason_and_can_recur_again(planner: Client) -> None:
    task = standing()
    url = reverse("maintenance:standing-task-withdraw", args=[task.code])
    assert "required" in _text(planner.post(url, {"why": "", "version": 0}))
    planner.post(url, {"why": "the fan is sealed for life", "version": 0})
    task.refresh_from_db()
    assert not task.is_active
    assert Change.objects.about(task).get().note == "the fan is sealed for life"
    assert "It recurs no longer." in _text(planner.get(task.get_absolute_url()))
    planner.post(reverse("maintenance:standing-task-resume", args=[task.code]), {"version": task.version})
    task.refresh_from_db()
    assert task.is_active


def test_withdrawing_safety_work_shows_a_caution(planner: Client) -> None:
    task = standing(is_safety=True)
    text = _text(planner.get(reverse("maintenance:standing-task-withdraw", args=[task.code])))
    assert "This is safety work" in text


@pytest.mark.parametrize("role", ["technician", "storekeeper", "manager", "auditor"])
def test_others_may_look_and_not_change(client: Client, role: str) -> None:
    task = standing()
    client.force_login(UserFactory(role=role))
    assert "Let it recur no longer" not in _text(client.get(task.get_absolute_url()))
    for name in ("edit", "withdraw", "resume"):
        url = reverse(f"maintenance:standing-task-{name}", args=[task.code])
        assert client.post(url, _filled()).status_code == 403
    assert client.get(reverse("maintenance:standing-task-new")).status_code == 403
