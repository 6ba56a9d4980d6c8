"""Watches at work: the set that suits a kiln, switching, and looking at readings in order and once."""

from io import StringIO
from typing import Any

import numpy as np
import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.management import call_command

from maintenance.models import Firing, Watch, WorkOrder
from maintenance.watches.calculations.rows import for_kiln
from maintenance.watches.looking import look_around
from maintenance.watches.settings import change_watch, copy_watch, make_watch, set_up_watches, switch_off, switch_on
from maintenance.watches.specs import shipped_specs, spec_of, unsuited_why, used_keys
from maintenance.watches.words import phase_words, rule_words
from plant.background.daily import want_each_tick
from plant.background.running import run_job
from plant.frame.saying import say
from plant.models import Change, Channel, ComponentKind, Job, Kiln, MeterReading, Reading
from plant.readings.taking_in import settle, take_in
from plant.signals import readings_settled
from tests.factories import MONDAY, ChargeFactory, KilnFactory, UserFactory
from tests.maintenance.watching_mill import (
    DRYING_S,
    MONDAY_S,
    SHIPPED,
    a_component,
    a_watch,
    a_watched_kiln,
    dry_wick,
    looked,
    ship,
    stand_at,
    write,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _tuesday(monkeypatch: pytest.MonkeyPatch) -> None:
    ship(monkeypatch)
    stand_at(monkeypatch, MONDAY_S + 86_400)


# the set


def test_a_kiln_is_given_what_its_channels_can_serve_and_told_why_not_the_rest() -> None:
    kiln = a_watched_kiln()
    found = set_up_watches(kiln, by=None)
    codes = {watch.code for watch in found.watches}
    assert {"wick-dry-left", "turn", "no-data"} <= codes
    assert found.new == len(codes)
    why = {one.code: one.why for one in found.unsuited}
    assert why["valve"] == "K1 has no channel for: heating valve."
    assert not codes & set(why)


def test_set_up_twice_changes_nothing_and_new_ones_are_off() -> None:
    kiln = a_watched_kiln()
    set_up_watches(kiln, by=None)
    again = set_up_watches(kiln, by=None)
    assert (again.new, again.changed) == (0, 0)
    assert not Watch.objects.filter(is_on=True).exists()


def test_a_shipped_watch_follows_the_catalogue() -> None:
    kiln = a_watched_kiln()
    set_up_watches(kiln, by=None)
    Watch.objects.filter(code="wick-dry-left").update(parameters={"side": "below", "limit": 9, "clear": 9})
    assert set_up_watches(kiln, by=None).changed == 1
    assert Watch.objects.get(code="wick-dry-left").parameters["limit"] == 0.8


def test_the_command_brings_the_kilns_watches_up_to_date() -> None:
    kiln = a_watched_kiln()
    set_up_watches(kiln, by=None)
    Watch.objects.filter(code="wick-dry-left").update(due_days=99)
    said = StringIO()
    call_command("catalogue", stdout=said)
    assert "K1 watches         0 new, 1 changed" in said.getvalue()
    assert Watch.objects.get(code="wick-dry-left").due_days == 1


def test_fans_that_do_not_reverse_need_no_watch_on_it() -> None:
    kiln = KilnFactory(is_reversing=False)
    spec = next(spec for spec in SHIPPED if spec.code == "turn")
    assert unsuited_why(spec, {"fan_direction"}, kiln) == "The fans of K1 do not reverse."


def test_the_suspect_is_the_component_at_the_place_of_the_signal() -> None:
    kiln = a_watched_kiln(
        "air_temperature:left", "wet_bulb:left", "wet_bulb:right", "fan_direction", places=("left", "right")
    )
    set_up_watches(kiln, by=None)
    suspects = dict(Watch.objects.filter(code__startswith="wick-dry").values_list("code", "component__tag"))
    assert suspects == {"wick-dry-left": "psychrometer-left", "wick-dry-right": "psychrometer-right"}


def test_the_component_named_at_the_channel_comes_first() -> None:
    kiln = a_watched_kiln("fan_current:1", "fan_current:2", "fan_direction")
    motors = [a_component(kiln, "fan-motor", place) for place in ("1", "2", "21")]
    Channel.objects.filter(quantity="fan_current", place="1").update(component=motors[2])
    set_up_watches(kiln, by=None)
    suspects = dict(Watch.objects.filter(code__startswith="fan-low").values_list("code", "component__tag"))
    assert suspects == {"fan-low-1": "fan-motor-21", "fan-low-2": "fan-motor-2"}


def test_every_shipped_watch_can_be_said_and_comes_back_as_it_was(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("maintenance.watches.settings.shipped_specs", shipped_specs)
    keys = [f"{quantity}:{place}" for quantity in Channel.Quantity.values for place in ("left", "right", "1", "2")]
    kiln = a_watched_kiln(*keys)
    found = set_up_watches(kiln, by=None)
    assert [one.why for one in found.unsuited if "channel" in one.why] == []
    for watch in found.watches:
        assert spec_of(watch).code == watch.code
        assert rule_words(watch)
        assert phase_words(watch)
        spec = spec_of(watch)
        assert spec.is_per_charge or used_keys(spec, keys)


def test_only_who_may_set_watches_does() -> None:
    kiln = a_watched_kiln()
    with pytest.raises(PermissionDenied):
        set_up_watches(kiln, by=UserFactory(role="technician"))


# switching and copying


def test_a_watch_is_switched_on_and_off_with_a_word_in_its_history() -> None:
    kiln = a_watched_kiln()
    watch = set_up_watches(kiln, by=None).watches[0]
    user = UserFactory(role="kiln_master")
    on = switch_on(watch, by=user, version=watch.version)
    assert on.is_on
    assert on.looked_until_s == MONDAY_S + 86_400
    with pytest.raises(ValidationError, match="Somebody changed"):
        switch_off(watch, by=user, version=watch.version)
    off = switch_off(watch, by=user, version=on.version)
    assert not off.is_on
    acts = list(Change.objects.about(watch).values_list("act", flat=True))
    assert acts == ["set up", "switched on", "switched off"]


def test_a_copy_has_its_own_numbers_and_is_off() -> None:
    kiln = a_watched_kiln()
    watch = a_watch(kiln, "wick-dry-left")
    user = UserFactory(role="kiln_master")
    numbers = watch.parameters | {"limit": 1.2}
    copy = copy_watch(watch, by=user, name="Wick dry, early", parameters=numbers, due_days=3)
    assert (copy.code, copy.is_shipped, copy.is_on, copy.due_days) == ("wick-dry-early", False, False, 3)
    assert spec_of(copy).rule.limit == 1.2  # type: ignore[union-attr]
    other = copy_watch(copy, by=user, name="Wick dry, early", parameters=numbers)
    assert other.code == "wick-dry-early-1"
    assert Watch.objects.get(pk=watch.pk).parameters["limit"] == 0.8


@pytest.mark.parametrize("numbers", [{"limit": "warm"}, {"limit": float("nan")}, {"limit": 9}, {"colour": 1}, {}])
def test_numbers_that_cannot_be_are_refused(numbers: dict[str, Any]) -> None:
    kiln = a_watched_kiln()
    watch = a_watch(kiln, "wick-dry-left")
    own = {} if not numbers else watch.parameters | numbers
    with pytest.raises(ValidationError):
        copy_watch(watch, by=UserFactory(role="kiln_master"), name="Mine", parameters=own)
    assert not Watch.objects.filter(is_shipped=False).exists()


def test_a_shipped_watch_cannot_be_changed_and_a_changed_one_begins_anew() -> None:
    kiln = a_watched_kiln()
    watch = a_watch(kiln, "wick-dry-left")
    user = UserFactory(role="kiln_master")
    with pytest.raises(ValidationError, match="Make a copy"):
        change_watch(watch, by=user, version=watch.version, name="Mine", parameters=watch.parameters)
    copy = copy_watch(watch, by=user, name="Mine", parameters=watch.parameters)
    Watch.objects.filter(pk=copy.pk).update(carried={"seen": 1})
    numbers = copy.parameters | {"hold_minutes": 10}
    changed = change_watch(copy, by=user, version=0, name="Mine", parameters=numbers)
    assert changed.carried == {}
    assert changed.version == 1


def test_a_watch_looks_at_what_its_signal_is_made_from_and_no_more() -> None:
    keys = ["fan_current:1", "fan_current:2", "fan_direction", "wood_moisture:1", "outside_temperature"]
    specs = {spec.code: spec for spec in for_kiln(SHIPPED, keys)}
    assert used_keys(specs["fan-low-1"], keys) == {"fan_current:1", "fan_current:2", "fan_direction"}
    assert used_keys(specs["no-data"], keys) == set(keys)


def test_a_watch_that_none_ships_like_is_made_where_its_channel_is() -> None:
    kiln = a_watched_kiln("message")
    kind = ComponentKind.objects.get(code="control-room")
    told: dict[str, Any] = {
        "by": UserFactory(role="kiln_master"),
        "name": "Message 17",
        "rule": "message",
        "parameters": {"numbers": [17]},
        "component_kind": kind,
        "sentence": "The controller gave message {value}.",
    }
    watch = make_watch(kiln, signal="message", **told)
    assert rule_words(watch) == "Message of the controller: message 17"
    assert not watch.is_on
    for signal in ("colour", "wet_bulb:left"):
        with pytest.raises(ValidationError):
            make_watch(kiln, signal=signal, **told)
    with pytest.raises(ValidationError, match="Write what it says"):
        make_watch(kiln, signal="message", **{**told, "sentence": " "})


def test_silence_is_looked_for_once_in_a_quarter_of_an_hour() -> None:
    assert want_each_tick() == []
    KilnFactory()
    (job,) = [job for job in want_each_tick() if job.what == "look for silence"]
    assert [again.pk for again in want_each_tick() if again.what == job.what] == [job.pk]


# looking


def test_a_dry_wick_is_heard_while_it_dries() -> None:
    kiln = a_watched_kiln()
    watch = a_watch(kiln, "wick-dry-left")
    until_s = dry_wick(kiln)
    assert len(looked(kiln, until_s).fired) == 1
    firing = Firing.objects.get()
    assert firing.watch == watch
    # An hour sound, then 40 minutes until the watch is sure.
    assert firing.begin_at.timestamp() == DRYING_S + 100 * 60
    assert firing.end_at is None


def test_a_second_look_at_the_same_readings_adds_nothing() -> None:
    kiln = a_watched_kiln()
    a_watch(kiln, "wick-dry-left")
    until_s = dry_wick(kiln)
    looked(kiln, until_s)
    before = Watch.objects.get(code="wick-dry-left").carried
    assert looked(kiln, until_s).fired == []
    assert looked(kiln, until_s - 1800).fired == []
    assert Watch.objects.get(code="wick-dry-left").carried == before
    assert (Firing.objects.count(), WorkOrder.objects.count()) == (1, 1)


@pytest.mark.parametrize("pace", [5, 17, 1000])
def test_looking_bit_by_bit_sees_the_same_as_at_once(pace: int) -> None:
    kiln = a_watched_kiln()
    a_watch(kiln, "wick-dry-left")
    until_s = dry_wick(kiln, sound=30, dry=60, after=30)
    for at_s in [*range(DRYING_S, until_s, pace * 60), until_s]:
        looked(kiln, at_s, at_s - pace * 60)
    firing = Firing.objects.get()
    assert firing.begin_at.timestamp() == DRYING_S + 70 * 60
    assert firing.end_at is not None
    assert firing.end_at.timestamp() == DRYING_S + 90 * 60


def test_what_ends_gets_its_end_and_fires_again_into_the_open_work() -> None:
    kiln = a_watched_kiln()
    a_watch(kiln, "wick-dry-left")
    first_s = dry_wick(kiln, sound=30, dry=60, after=30)
    looked(kiln, first_s)
    second_s = dry_wick(kiln, first_s + 60, sound=10, dry=60)
    looked(kiln, second_s, first_s)
    ended, going_on = Firing.objects.order_by("begin_at")
    assert ended.end_at
    assert going_on.end_at is None
    assert ended.work_order == going_on.work_order == WorkOrder.objects.get()


def test_a_watch_looks_only_in_its_phases() -> None:
    kiln = a_watched_kiln()
    a_watch(kiln, "wick-dry-left")
    assert looked(kiln, dry_wick(kiln, MONDAY_S + 2 * 3600, sound=0, dry=120)).fired == []


def test_a_watch_waits_for_the_channel_that_is_behind_and_then_sees_it_all() -> None:
    kiln = a_watched_kiln()
    a_watch(kiln, "wick-dry-left")
    until_s = write(kiln, DRYING_S, 150, air_temperature__left=60, fan_direction=1)
    write(kiln, DRYING_S, 20, wet_bulb__left=52)
    looked(kiln, until_s)
    assert Watch.objects.get(code="wick-dry-left").looked_until_s == DRYING_S + 19 * 60
    late_s = write(kiln, DRYING_S + 20 * 60, 100, wet_bulb__left=59.8)
    assert len(looked(kiln, late_s, DRYING_S + 20 * 60).fired) == 1


def test_a_channel_that_is_dead_is_not_waited_for_for_ever() -> None:
    kiln = a_watched_kiln()
    a_watch(kiln, "wick-dry-left")
    write(kiln, DRYING_S, 2, wet_bulb__left=52)
    until_s = write(kiln, DRYING_S + 3 * 86_400, 5, air_temperature__left=60)
    looked(kiln, until_s)
    assert Watch.objects.get(code="wick-dry-left").looked_until_s == until_s


def test_a_watch_that_is_off_or_was_switched_on_later_does_not_see_the_past() -> None:
    kiln = a_watched_kiln()
    set_up_watches(kiln, by=None)
    until_s = dry_wick(kiln)
    assert looked(kiln, until_s).fired == []
    switch_on(Watch.objects.get(code="wick-dry-left"), by=None)
    assert looked(kiln, until_s).fired == []


def test_what_is_settled_is_looked_at_by_a_job_of_its_own() -> None:
    kiln = a_watched_kiln()
    readings_settled.send(sender=Kiln, kiln=kiln, from_s=MONDAY_S, until_s=MONDAY_S + 60)
    job = Job.objects.get(what="look at readings")
    assert job.arguments == {"kiln": kiln.pk, "from_s": MONDAY_S, "until_s": MONDAY_S + 60}


def test_readings_that_are_taken_in_are_settled_looked_at_and_become_work() -> None:
    kiln = a_watched_kiln()
    a_watch(kiln, "wick-dry-left")
    until_s = dry_wick(kiln)
    rows = list(Reading.objects.values_list("channel_id", "at_s", "value"))
    Reading.objects.all().delete()
    channel_id, at_s, value = (np.array(column) for column in zip(*rows, strict=True))
    take_in(channel_id, at_s, value)
    settle(kiln)
    job = Job.objects.get(what="look at readings")
    assert job.arguments["until_s"] == until_s
    run_job(job.pk)
    job.refresh_from_db()
    assert job.state == Job.State.FINISHED
    assert job.result == {"fired": 1, "ended": 0, "work_orders": [WorkOrder.objects.get().number]}


def test_two_messages_within_a_minute_are_both_heard() -> None:
    kiln = a_watched_kiln("message")
    alarm = Watch.objects.create(
        kiln=kiln,
        code="message",
        name="Message 17",
        signal="message",
        rule="message",
        parameters={"numbers": [17]},
        severity="notice",
        sentence="The controller gave message {value}.",
        is_on=True,
        looked_until_s=MONDAY_S,
    )
    channel = Channel.objects.get(quantity="message")
    channel.readings.create(at_s=DRYING_S + 5, value=17)
    channel.readings.create(at_s=DRYING_S + 20, value=3)
    looked(kiln, DRYING_S + 120)
    firing = Firing.objects.get(watch=alarm)
    assert say(firing.sentence) == "The controller gave message 17."
    assert (firing.begin_at.timestamp(), firing.end_at and firing.end_at.timestamp()) == (DRYING_S + 5, DRYING_S + 20)


# silence, hours and charges


def test_silence_is_heard_though_nothing_comes(monkeypatch: pytest.MonkeyPatch) -> None:
    kiln = a_watched_kiln()
    a_watch(kiln, "no-data")
    looked(kiln, dry_wick(kiln, sound=30, dry=0))
    stand_at(monkeypatch, DRYING_S + 80 * 60)
    assert look_around().fired == []
    stand_at(monkeypatch, DRYING_S + 110 * 60)
    (firing,) = look_around().fired
    assert "Nothing was heard of this kiln" in say(firing.sentence)
    assert look_around().fired == []
    back_s = dry_wick(kiln, DRYING_S + 120 * 60, sound=5, dry=0)
    looked(kiln, back_s, DRYING_S + 120 * 60)
    assert Firing.objects.get().end_at


def test_a_kiln_that_was_never_heard_is_not_called_silent(monkeypatch: pytest.MonkeyPatch) -> None:
    a_watch(a_watched_kiln(), "no-data")
    stand_at(monkeypatch, DRYING_S + 300 * 60)
    assert look_around().fired == []


def a_counting_watch(kiln: Any, **parameters: Any) -> Watch:
    made: Watch = Watch.objects.create(
        kiln=kiln,
        code="counts",
        name="Counts",
        signal="fan_direction",
        rule="running_since",
        parameters=parameters,
        severity="work_order",
        sentence="{value} {unit} since the last work.",
        is_on=True,
        switched_on_at=MONDAY,
        looked_until_s=MONDAY_S,
    )
    return made


def test_running_hours_of_the_kiln_come_from_its_meter(monkeypatch: pytest.MonkeyPatch) -> None:
    kiln = a_watched_kiln()
    a_counting_watch(kiln, hours=100)
    for day, hours in ((0, 1000), (5, 1110)):
        MeterReading.objects.create(kiln=kiln, read_at=MONDAY.replace(day=2 + day), running_h=hours)
    stand_at(monkeypatch, MONDAY_S + 6 * 86_400)
    (firing,) = look_around().fired
    assert firing.worst_value == 110
    assert look_around().fired == []
    assert WorkOrder.objects.count() == 1


def test_charges_since_the_last_work_are_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    kiln = a_watched_kiln()
    watch = a_counting_watch(kiln, charges=2)
    stand_at(monkeypatch, MONDAY_S + 6 * 86_400)
    assert look_around().fired == []
    ChargeFactory(kiln=kiln, basis="done", begin_at=MONDAY.replace(day=8))
    stand_at(monkeypatch, MONDAY_S + 14 * 86_400)
    (firing,) = look_around().fired
    assert say(firing.sentence) == "2 charges since the last work."
    assert firing.watch == watch
