"""The pages of watches: the list, one with its firings and its verdicts, its numbers, and the trial on the past."""

import dataclasses
from collections.abc import Iterable
from datetime import timedelta
from typing import Any, get_args, get_type_hints
from urllib.parse import urlencode

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from maintenance.models import Firing, Watch
from maintenance.tasks import try_watch
from maintenance.watches.calculations.rows import RULES
from maintenance.watches.forms import SIDES, WORDINGS
from maintenance.watches.trials import TRY_TASK
from plant.background.running import run_job
from plant.basics.sentences import typed
from plant.frame.saying import say
from plant.models import Change, FailureMode, Job, Kiln, Mill
from tests.factories import MONDAY, ComponentKindFactory, DefectFactory, UserFactory
from tests.maintenance.mill import signed_in
from tests.maintenance.watching_mill import (
    DRYING_S,
    MONDAY_S,
    SHIPPED,
    a_watch,
    a_watched_kiln,
    dry_wick,
    looked,
    ship,
    stand_at,
    write,
)
from tests.pages import markup

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _saturday(monkeypatch: pytest.MonkeyPatch) -> None:
    ship(monkeypatch)
    monkeypatch.setattr("maintenance.watches.pages.shipped_specs", lambda: SHIPPED)
    stand_at(monkeypatch, MONDAY_S + 5 * 86_400)


@pytest.fixture
def master(client: Client) -> Client:
    return signed_in(client, UserFactory(username="ilse", role="kiln_master"))


@pytest.fixture
def watch() -> Watch:
    """The watch for a dry wick, switched on, on a kiln whose wick was dry for an hour and a half on Monday."""
    kiln = a_watched_kiln()
    watch = a_watch(kiln, "wick-dry-left")
    looked(kiln, dry_wick(kiln, after=60))
    return watch


def text(response: Any) -> str:
    assert response.status_code == 200
    return markup(response)


def test_the_page_says_the_sentence_with_gaps_for_what_is_to_come(master: Client, watch: Watch) -> None:
    page = text(master.get(f"/watches/{watch.pk}/"))
    assert "{" not in page.split("<dt>Says</dt>")[1].split("</dd>")[0]
    assert "The wet bulb on the left is only … K below the dry bulb since …." in page


# The list.


def test_the_list_says_of_each_watch_what_it_looks_at_and_how_often_it_was_right(master: Client, watch: Watch) -> None:
    Firing.objects.update(verdict="right")
    page = text(master.get("/watches/"))
    assert "Wick dry (left)" in page
    assert "below 0.8 K for 40 min; over at 1.5 K" in page
    assert "right in 1 of 1" in page
    assert "None speaks up now. 1 watch looks." in page


def test_what_goes_on_now_stands_above_with_its_work_order(master: Client) -> None:
    kiln = a_watched_kiln()
    a_watch(kiln, "wick-dry-left")
    looked(kiln, dry_wick(kiln))
    firing = Firing.objects.get()
    page = text(master.get("/watches/"))
    assert "One speaks up now, 1 of them with a work order." in page
    assert say(firing.sentence) in page
    assert firing.work_order
    assert firing.work_order.number in page


def test_the_list_is_filtered_by_kiln_state_and_word(master: Client, watch: Watch) -> None:
    def codes(**query: str) -> list[str]:
        return [row.watch.code for row in master.get("/watches/", query).context["rows"]]

    assert codes(state="on") == ["wick-dry-left"]
    assert "wick-dry-left" not in codes(state="off")
    assert codes(q="wick dry", state="all") == ["wick-dry-left"]
    assert codes(kiln="K1") == codes()
    a_watched_kiln(tag="K2")
    assert codes(kiln="K2") == []
    page = text(master.get("/watches/", {"kiln": "K2"}))
    assert "No watch fits." in page
    assert "No watch is switched on." in page


def test_the_list_begins_with_those_that_have_spoken_and_leads_to_the_silent_ones(master: Client, watch: Watch) -> None:
    silent = Watch.objects.get(pk=watch.pk)
    silent.pk, silent.code, silent.name = None, "quiet", "Quiet one"
    silent._state.adding = True
    silent.save()
    page = text(master.get("/watches/?kiln=K1"))
    assert "Quiet one" not in page
    assert '<a href="?kiln=K1&amp;state=silent"> Show the 3 that never did </a>' in page
    page = text(master.get("/watches/?kiln=K1&state=silent"))
    assert "Quiet one" in page
    assert "Wick dry (left)" not in page
    Firing.objects.all().delete()
    assert "Quiet one" in text(master.get("/watches/")), "where none has spoken, all are shown"


def test_a_kiln_with_sensors_is_given_the_watches_that_ship_and_told_of_those_it_cannot_have(master: Client) -> None:
    a_watched_kiln()
    assert "Kilns with sensors and without watches" in text(master.get("/watches/"))
    page = text(master.post("/watches/set-up/", {"kiln": "K1"}, follow=True))
    assert "K1 has 3 new watches, switched off." in page
    assert "K1 has no channel for: fan current." in page
    assert not Watch.objects.filter(is_on=True).exists()


def test_an_unknown_kiln_is_refused_in_words(master: Client) -> None:
    page = text(master.post("/watches/set-up/", {"kiln": "K99"}, follow=True))
    assert "Select a valid choice" in page


def test_without_any_watch_the_list_teaches(master: Client) -> None:
    assert "First name the sensors of a kiln as channels" in text(master.get("/watches/"))


def add_watches(kiln: Kiln, numbers: Iterable[int]) -> None:
    for number in numbers:
        made = Watch.objects.get(code="wick-dry-left")
        made.pk, made.code, made.name = None, f"copy-{number}", f"copy {number}"
        made._state.adding = True
        made.save()
        Firing.objects.create(watch=made, begin_at=MONDAY, noticed_at=MONDAY, sentence=typed("Dry."), is_notice=True)


def test_the_number_of_queries_does_not_grow(master: Client, watch: Watch) -> None:
    def queries(url: str) -> int:
        with CaptureQueriesContext(connection) as captured:
            assert master.get(url).status_code == 200
        return len(captured)

    add_watches(watch.kiln, [0])
    few = queries("/watches/"), queries(watch.get_absolute_url())
    add_watches(watch.kiln, range(1, 20))
    for hour in range(1, 9):
        begin_at = MONDAY + timedelta(days=1, hours=hour)
        Firing.objects.create(watch=watch, begin_at=begin_at, noticed_at=MONDAY, sentence=typed("Dry."))
    assert (queries("/watches/"), queries(watch.get_absolute_url())) == few


# One watch.


def test_its_page_says_what_it_does_whom_it_suspects_and_shows_what_it_saw(master: Client, watch: Watch) -> None:
    page = text(master.get(watch.get_absolute_url()))
    assert "raises a work order" in page
    assert page.index("wick dry") < page.index("trough scaled")
    assert "What it raised" in page
    assert 'class="firing-picture"' in page
    assert "/kilns/K1/climate/?from=" in page
    assert "It was right" in page


def test_a_suspect_of_another_kind_of_component_is_told_with_its_name(master: Client, watch: Watch) -> None:
    kind = ComponentKindFactory(code="some-flap")
    other = FailureMode.objects.create(kind=kind, code="flap-leaks", name="does not shut tight")
    Watch.objects.update(failure_modes=[*watch.failure_modes, other.code])
    page = text(master.get(watch.get_absolute_url()))
    assert f"<li>does not shut tight ({kind.name})</li>" in page
    assert "<li>wick dry</li>" in page


def test_a_job_shows_the_last_that_watches_saw_and_how_many_there_were(master: Client, watch: Watch) -> None:
    order = Firing.objects.get().work_order
    assert order
    for hour in range(1, 8):
        begin_at = MONDAY + timedelta(days=1, hours=hour)
        Firing.objects.create(
            watch=watch, begin_at=begin_at, noticed_at=begin_at, sentence=typed("Dry."), work_order=order
        )
    page = text(master.get(order.get_absolute_url()))
    assert page.count("<strong>Dry.</strong>") == 5
    assert "5 of 8 are shown, the last first" in page


def test_a_watch_is_switched_off_and_on_with_who_and_when(master: Client, watch: Watch) -> None:
    address = watch.get_absolute_url()
    page = text(master.post(f"{address}off/", {"version": watch.version}, follow=True))
    assert "It looks no more" in page
    page = text(master.post(f"{address}on/", {"version": watch.version}, follow=True))
    assert "Somebody changed this watch meanwhile." in page
    assert "The page was out of date" in text(master.post(f"{address}on/", {"version": "x"}, follow=True))
    watch.refresh_from_db()
    assert not watch.is_on
    text(master.post(f"{address}on/", {"version": watch.version}, follow=True))
    watch.refresh_from_db()
    assert watch.is_on
    assert Change.objects.about(watch).filter(act="switched on", by__username="ilse").exists()


def test_whoever_looked_says_whether_it_was_right_and_may_take_it_back(master: Client, watch: Watch) -> None:
    firing = Firing.objects.get()
    judged = master.post(f"/watches/firings/{firing.pk}/judge/", {"verdict": "wrong", "why": "swapped cables"})
    assert judged["Location"] == f"{watch.get_absolute_url()}#firing-{firing.pk}"
    page = text(master.get(watch.get_absolute_url()))
    assert "right in 0 of 1" in page
    assert "swapped cables" in page
    master.post(f"/watches/firings/{firing.pk}/judge/", {"verdict": ""})
    firing.refresh_from_db()
    assert firing.verdict == ""
    assert "Select a valid choice" in text(
        master.post(f"/watches/firings/{firing.pk}/judge/", {"verdict": "maybe"}, follow=True)
    )


def test_who_may_only_read_sees_no_buttons(client: Client, watch: Watch) -> None:
    auditor = signed_in(client, UserFactory(username="siv", role="auditor"))
    page = text(auditor.get(watch.get_absolute_url()))
    assert "Switch off" not in page
    assert "It was right" not in page
    assert auditor.get(f"{watch.get_absolute_url()}trial/").status_code == 403


# Numbers.


def test_every_number_of_every_rule_has_its_words() -> None:
    names = {field.name for rule in RULES.values() for field in dataclasses.fields(rule)}
    assert names == set(WORDINGS)
    hints = {choice for rule in RULES.values() for choice in choices_of(rule)}
    assert hints == set(SIDES)


def choices_of(rule: Any) -> Iterable[str]:
    for hint in get_type_hints(rule).values():
        yield from (choice for choice in get_args(hint) if isinstance(choice, str))


def form_of(watch: Watch, **changes: Any) -> dict[str, Any]:
    """What the form of the watch for a dry wick sends."""
    return {
        "kiln": watch.kiln.tag,
        "name": "Wick dry, sooner",
        "severity": "notice",
        "sentence": "The wick is dry since {since}.",
        "phases": ["drying"],
        "due_days": 2,
        "safety_days": "",
        "agrees_within_days": 7,
        "version": watch.version,
        "side": "below",
        "limit": 1,
        "clear": 1.6,
        "hold_minutes": 10,
        "forget_hours": 6,
        **changes,
    }


def test_a_watch_that_ships_is_copied_with_own_numbers_and_stays_as_it_is(master: Client, watch: Watch) -> None:
    edit = master.get(f"{watch.get_absolute_url()}edit/?limit=1")
    assert edit["Location"] == f"{watch.get_absolute_url()}copy/?limit=1"
    assert 'name="limit" value="1"' in text(master.get(edit["Location"]))
    page = text(master.post(f"{watch.get_absolute_url()}copy/", form_of(watch), follow=True))
    assert "The copy is there, switched off." in page
    made = Watch.objects.get(name="Wick dry, sooner")
    assert (made.parameters["limit"], made.severity, made.is_on, made.is_shipped) == (1, "notice", False, False)
    watch.refresh_from_db()
    assert watch.parameters["limit"] == 0.8


def test_the_same_copy_twice_is_refused(master: Client, watch: Watch) -> None:
    for _time in range(2):
        page = master.post(f"{watch.get_absolute_url()}copy/", form_of(watch), follow=True)
    assert "is called so already" in text(page)
    assert Watch.objects.filter(name="Wick dry, sooner").count() == 1


def test_a_copy_goes_to_another_kiln_where_its_sensors_can_serve_it(master: Client, watch: Watch) -> None:
    a_watched_kiln("air_temperature:left", tag="K2", places=())
    refused = text(master.post(f"{watch.get_absolute_url()}copy/", form_of(watch, kiln="K2")))
    assert "K2 has no channel for: wet-bulb temperature" in refused
    a_watched_kiln(tag="K3")
    master.post(f"{watch.get_absolute_url()}copy/", form_of(watch, kiln="K3"))
    made = Watch.objects.get(kiln__tag="K3")
    assert made.component
    assert (made.component.kiln.tag, made.component.tag) == ("K3", "psychrometer-left")


def test_own_numbers_are_changed_and_a_stale_form_is_refused_with_nothing_lost(master: Client, watch: Watch) -> None:
    master.post(f"{watch.get_absolute_url()}copy/", form_of(watch))
    own = Watch.objects.get(name="Wick dry, sooner")
    address = f"{own.get_absolute_url()}edit/"
    assert "It looks by these numbers" in text(master.post(address, form_of(own, limit="0.9"), follow=True))
    stale = text(master.post(address, form_of(own, limit="0.7")))
    assert "Somebody changed this watch meanwhile." in stale
    assert 'value="0.7"' in stale
    own.refresh_from_db()
    assert own.parameters["limit"] == 0.9
    assert Change.objects.about(own).filter(act="changed").count() == 1


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"clear": 0.5}, "“Over at” value 0.5 lies beyond the “Limit” 1."),
        ({"limit": "nan"}, "Enter a number."),
        ({"limit": "1e300"}, "less than or equal to"),
        ({"hold_minutes": -1}, "“Holds for” -1 is outside 0 to"),
        ({"sentence": "{nonsense}"}, "the sentence has {nonsense}"),
        ({"name": " "}, "This field is required."),
        ({"phases": ["brewing"]}, "Select a valid choice"),
    ],
)
def test_numbers_that_the_rule_cannot_work_with_are_refused_in_words(
    master: Client, watch: Watch, changes: dict[str, Any], message: str
) -> None:
    page = text(master.post(f"{watch.get_absolute_url()}copy/", form_of(watch, **changes)))
    assert message in page.replace("&#x27;", "'")
    assert not Watch.objects.filter(is_shipped=False).exists()


def test_a_mill_that_reads_fahrenheit_types_its_own_degrees(master: Client, watch: Watch) -> None:
    Mill.objects.update(temperature_unit="degF")
    page = text(master.get(f"{watch.get_absolute_url()}copy/"))
    assert "Limit, °F" in page
    assert 'name="limit" value="1.44"' in page
    master.post(f"{watch.get_absolute_url()}copy/", form_of(watch, limit="1.44", clear="2.7"))
    made = Watch.objects.get(is_shipped=False)
    assert (made.parameters["limit"], made.parameters["clear"]) == (pytest.approx(0.8), pytest.approx(1.5))


# A watch from nothing.


def test_a_message_of_the_controller_gets_a_watch_of_its_own(master: Client) -> None:
    kiln = a_watched_kiln("message", "air_temperature:left")
    assert "signal" not in master.get("/watches/new/").context["what"].fields
    assert 'name="signal"' in text(master.get("/watches/new/", {"kiln": "K1", "rule": "message"}))
    address = "/watches/new/?kiln=K1&rule=message&signal=message"
    sent = {
        "name": "Burner locked out",
        "component": kiln.components.get().tag,
        "sentence": "The controller says {value} since {since}.",
        "severity": "work_order",
        "sheet": "",
        "due_days": 1,
        "numbers": "17 18",
    }
    refused = text(master.post(address, {**sent, "numbers": "seventeen"}))
    assert "“Message numbers”" in refused.replace("&#x27;", "'")
    assert "The watch is there, switched off." in text(master.post(address, sent, follow=True))
    made = Watch.objects.get(name="Burner locked out")
    assert (made.signal, made.parameters, made.is_on) == ("message", {"numbers": [17, 18]}, False)
    assert "is called so already" in text(master.post(address, sent))


@pytest.mark.parametrize("rule", list(RULES))
def test_every_rule_can_be_chosen_and_filled_in_as_it_begins(master: Client, rule: str) -> None:
    kiln = a_watched_kiln("air_temperature:left", "wet_bulb:left", "wet_bulb:right", "fan_current:1", "message")
    form = master.get("/watches/new/", {"kiln": "K1", "rule": rule}).context["what"]
    choices = [code for code, _word in flat(form.fields["signal"].choices)]
    query = {"kiln": "K1", "rule": rule, "signal": choices[-1]}
    beginning = master.get("/watches/new/", query).context["form"]
    sent = {name: beginning[name].value() for name in beginning.rule_names if beginning[name].value() is not None}
    sent |= {"name": "own", "component": kiln.components.get().tag, "sentence": "Look.", "severity": "notice"}
    made = master.post(f"/watches/new/?{urlencode(query)}", {**sent, "due_days": 7})
    assert made.status_code == 302, made.context["form"].errors
    assert Watch.objects.get().rule == rule


def flat(choices: Iterable[Any]) -> Iterable[tuple[str, str]]:
    for value, word in choices:
        yield from word if isinstance(word, list) else [(value, word)]


def test_a_kiln_without_a_sensor_for_it_is_told_so(master: Client) -> None:
    a_watched_kiln()
    assert "no sensor that such a watch" in text(master.get("/watches/new/", {"kiln": "K1", "rule": "message"}))
    assert "Select a valid choice" in text(master.get("/watches/new/", {"kiln": "K9", "rule": "brew"}))


# The trial.


def tried(master: Client, watch: Watch, **changes: Any) -> Any:
    numbers = {"days": 30, "side": "below", "limit": 0.8, "clear": 1.5, "hold_minutes": 40, "forget_hours": 6}
    return master.post(f"{watch.get_absolute_url()}trial/", {**numbers, **changes})


def test_a_trial_runs_in_the_background_and_shows_both_sets_of_numbers(master: Client, watch: Watch) -> None:
    DefectFactory(
        kiln=watch.kiln, component=watch.component, found_at=MONDAY + timedelta(days=1), what="wick stiff and dry"
    )
    address = tried(master, watch, limit="0.1", clear="1")["Location"]
    assert "It waits for its turn." in text(master.get(address))
    assert run_job(Job.objects.get(what=TRY_TASK).pk)
    response = master.get(address)
    as_it_stands, changed = response.context["sides"]
    assert (as_it_stands.count, as_it_stands.right, as_it_stands.work_orders) == (1, 1, 1)
    assert [mark.kind for mark in as_it_stands.marks] == ["right"]
    assert (changed.count, changed.missed) == (0, 0)
    page = text(response)
    assert "wick stiff and dry" in page
    assert "It would have said nothing." in page
    assert "Make a copy with these numbers" in page
    assert "limit=0.1" in page
    part = master.get(address, headers={"HX-Request": "true"})
    assert b"<html" not in part.content


def test_what_stands_on_record_and_was_not_heard_is_shown_as_missed(master: Client, watch: Watch) -> None:
    mode = FailureMode.objects.get(code="wick-dry")
    DefectFactory(
        kiln=watch.kiln,
        component=watch.component,
        failure_mode=mode,
        found_at=MONDAY + timedelta(days=1),
        what="wick stiff and dry",
    )
    address = tried(master, watch, limit="0.1", clear="1")["Location"]
    run_job(Job.objects.get(what=TRY_TASK).pk)
    changed = master.get(address).context["sides"][1]
    assert [(mark.kind, mark.said) for mark in changed.marks] == [("missed", "wick stiff and dry")]
    assert "It would have missed 1 on record." in text(master.get(address))


def test_the_same_numbers_are_tried_once(master: Client, watch: Watch) -> None:
    addresses = {tried(master, watch)["Location"] for _time in range(2)}
    assert len(addresses) == 1
    run_job(Job.objects.get(what=TRY_TASK).pk)
    assert len(master.get(addresses.pop()).context["sides"]) == 1


def test_a_trial_on_figures_of_charges_needs_no_waiting(master: Client) -> None:
    kiln = a_watched_kiln("wet_bulb:left", "wet_bulb:right", places=("left", "right"))
    a_watch(kiln, "wet-drift")
    watch = Watch.objects.get(code="wet-drift")
    form = master.get(f"{watch.get_absolute_url()}trial/").context["form"]
    numbers = {field.name: field.value() for field in form.rule_fields} | {"days": 30}
    page = text(master.post(f"{watch.get_absolute_url()}trial/", numbers))
    assert "there was nothing to look at" in page
    assert not Job.objects.filter(what=TRY_TASK).exists()


def test_numbers_that_cannot_be_tried_are_refused_before_anything_runs(master: Client, watch: Watch) -> None:
    page = text(tried(master, watch, clear="0.2"))
    assert "lies beyond the “Limit”" in page
    assert not Job.objects.filter(what=TRY_TASK).exists()


def test_a_trial_that_failed_says_why_and_one_of_another_watch_is_not_shown(master: Client, watch: Watch) -> None:
    address = tried(master, watch)["Location"]
    job = Job.objects.get(what=TRY_TASK)
    Job.objects.filter(pk=job.pk).update(arguments={**job.arguments, "parameters": '{"limit": 3}'})
    run_job(job.pk)
    assert "The trial did not come to an end: rule limit lacks the parameter" in text(master.get(address))
    other = Watch.objects.exclude(pk=watch.pk).first()
    assert other
    for wrong in (f"{other.get_absolute_url()}trial/?job={job.pk}", f"{watch.get_absolute_url()}trial/?job=x"):
        assert master.get(wrong).status_code == 404


def test_a_watch_that_always_fires_is_kept_in_short(watch: Watch, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("maintenance.watches.trials.MOST_KEPT", 2)
    for hour in range(4):
        write(watch.kiln, DRYING_S + 86_400 + hour * 7200, 60, air_temperature__left=60, wet_bulb__left=59.9)
        write(watch.kiln, DRYING_S + 86_400 + hour * 7200 + 3600, 60, air_temperature__left=60, wet_bulb__left=52)
    write(watch.kiln, DRYING_S + 86_400, 480, fan_direction=1)
    result = try_watch(
        progress=lambda *_: None,
        watch=watch.pk,
        days=30,
        parameters='{"side": "below", "limit": 0.8, "clear": 1.5, "hold_minutes": 5}',
    )
    assert result["sides"][0]["count"] > 2
    assert len(result["sides"][0]["raised"]) == 2
