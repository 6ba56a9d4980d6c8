"""What comes of it when a watch fires: one work order, its reasons, agreement of hints, and the verdict."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.test import Client

from maintenance.checks.defects import record_defect, strike_defect
from maintenance.models import Firing, Watch, WorkOrder
from maintenance.watches.firing_picture import draw
from maintenance.watches.looking import look_over_past
from maintenance.watches.verdicts import judge
from maintenance.work.course import finish, withdraw
from plant.frame.saying import say
from plant.models import FailureMode, Fitting, Kiln, Mill
from plant.templatetags.said import said as in_words
from tests.factories import MONDAY, UserFactory, WorkOrderFactory
from tests.maintenance.mill import a_user, signed_in
from tests.maintenance.watching_mill import (
    DRYING_S,
    MONDAY_S,
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
SIDES = ("air_temperature:left", "air_temperature:right", "wet_bulb:left", "wet_bulb:right", "fan_direction")


@pytest.fixture(autouse=True)
def _tuesday(monkeypatch: pytest.MonkeyPatch) -> None:
    ship(monkeypatch)
    stand_at(monkeypatch, MONDAY_S + 86_400)


def a_dry_wick(kiln: Kiln | None = None) -> Firing:
    """A wick that has run dry, seen by its watch."""
    kiln = kiln or a_watched_kiln()
    a_watch(kiln, "wick-dry-left")
    looked(kiln, dry_wick(kiln))
    return Firing.objects.get()


# the work order


def test_the_work_order_says_why_and_takes_the_watchs_terms() -> None:
    firing = a_dry_wick()
    order = WorkOrder.objects.get()
    assert (order.origin, order.component.tag, order.sheet.code) == ("watch", "psychrometer-left", "wick-exchange")  # type: ignore[union-attr]
    assert order.due_at == MONDAY + timedelta(days=2)
    assert say(firing.sentence) == "The wet bulb on the left is only 0.2 K below the dry bulb since 2 Mar 18:00."
    assert in_words(order.why).startswith(say(firing.sentence))
    assert "Suspected, the likeliest first: wick dry" in in_words(order.why)
    assert order.steps.exists()


def test_a_watch_joins_work_that_somebody_asked_for_on_its_component() -> None:
    kiln = a_watched_kiln()
    watch = a_watch(kiln, "wick-dry-left")
    due_at = MONDAY + timedelta(days=9)
    planned = WorkOrderFactory(number="WO-9001", kiln=kiln, component=watch.component, sheet=watch.sheet, due_at=due_at)
    WorkOrderFactory(number="WO-9000", kiln=kiln, component=None, sheet=watch.sheet, due_at=due_at)
    looked(kiln, dry_wick(kiln))
    assert not WorkOrder.objects.filter(origin="watch").exists()
    planned.refresh_from_db()
    assert Firing.objects.get().work_order == planned
    assert planned.due_at == MONDAY + timedelta(days=2)
    assert "Joined by: The wet bulb on the left is only 0.2 K below" in in_words(planned.why)


def test_the_sentence_is_said_in_the_mills_units() -> None:
    kiln = a_watched_kiln()
    Mill.objects.update(temperature_unit="degF")
    assert "only 0.36 °F below" in say(a_dry_wick(kiln).sentence)


def test_waiting_has_its_price_where_the_watch_names_a_loss() -> None:
    kiln = a_watched_kiln()
    Mill.objects.update(drying_margin_per_m3=Decimal(45), energy_price_per_kwh=Decimal("0.08"))
    a_dry_wick(kiln)
    order = WorkOrder.objects.get()
    assert order.cost_of_delay_per_day > 0
    assert f"Waiting costs {order.cost_of_delay_per_day:f} EUR a day" in in_words(order.why)


def test_where_no_charge_tells_what_a_kiln_dries_the_price_is_not_invented(monkeypatch: pytest.MonkeyPatch) -> None:
    kiln = a_watched_kiln()
    monkeypatch.setattr("maintenance.pricing.prefill.drying_rate_at", lambda *about: None)
    a_dry_wick(kiln)
    order = WorkOrder.objects.get()
    assert order.cost_of_delay_per_day == 0
    assert "cannot be said" in in_words(order.why)


def test_a_safety_date_comes_from_the_watch() -> None:
    kiln = a_watched_kiln("air_temperature:left", "heating_valve", "fan_direction")
    a_component(kiln, "heating-valve")
    a_watch(kiln, "valve")
    until_s = write(
        kiln, DRYING_S, 180, air_temperature__left=lambda minute: 60 + minute / 20, heating_valve=0, fan_direction=1
    )
    looked(kiln, until_s)
    order = WorkOrder.objects.get()
    assert order.is_safety
    assert order.safety_at == MONDAY + timedelta(days=11)


def test_what_was_found_here_before_comes_first_among_the_suspects() -> None:
    kiln = a_watched_kiln()
    component = kiln.components.get()
    trough = FailureMode.objects.get(code="trough-scaled")
    no_air = FailureMode.objects.get(code="wet-bulb-no-air")
    for _time in range(2):
        Fitting.objects.create(
            component=component,
            fitted_at=MONDAY - timedelta(days=90),
            removed_at=MONDAY,
            removal="failed",
            failure_mode=trough,
        )
    mistake = record_defect(kiln=kiln, component=component, failure_mode=no_air, what="no air", by=None)
    strike_defect(mistake, by=None, why="It was another kiln.")
    firing = a_dry_wick(kiln)
    ranked = [(one["code"], one["times"]) for one in firing.suspects]
    assert ranked == [("trough-scaled", 2), ("wick-dry", 0), ("wet-bulb-no-air", 0)]
    assert "(found here 2 times, last 2 Mar 2026)" in in_words(WorkOrder.objects.get().why)


def test_what_is_long_over_when_its_readings_come_is_recorded_but_sends_nobody(monkeypatch: pytest.MonkeyPatch) -> None:
    kiln = a_watched_kiln()
    a_watch(kiln, "wick-dry-left")
    until_s = dry_wick(kiln, after=30)
    stand_at(monkeypatch, MONDAY_S + 40 * 86_400)
    looked(kiln, until_s)
    assert Firing.objects.get().work_order is None
    assert not WorkOrder.objects.exists()


def test_after_the_work_is_done_the_watch_may_raise_another() -> None:
    kiln = a_watched_kiln()
    firing = a_dry_wick(kiln)
    WorkOrder.objects.update(state="done")
    last_s = int(firing.begin_at.timestamp()) + 60 * 60
    back_s = dry_wick(kiln, last_s, sound=10, dry=60)
    looked(kiln, back_s, last_s)
    assert WorkOrder.objects.count() == 2


def test_another_watch_with_the_same_job_on_the_same_suspect_joins_the_open_work() -> None:
    kiln = a_watched_kiln()
    watch = a_watch(kiln, "wick-dry-left")
    watch.pk, watch.code, watch.name = None, "twin", "Twin"
    watch._state.adding = True
    watch.save()
    looked(kiln, dry_wick(kiln))
    assert Firing.objects.count() == 2
    assert WorkOrder.objects.count() == 1


# hints


def both_sides(kiln: Kiln, from_s: int = DRYING_S, *, wet: float = 0.0, dry: float = 0.0) -> int:
    return write(
        kiln,
        from_s,
        60,
        air_temperature__left=60 + dry,
        air_temperature__right=60,
        wet_bulb__left=50 + wet,
        wet_bulb__right=50,
        fan_direction=1,
    )


def test_a_hint_alone_raises_no_work_and_two_that_agree_raise_one() -> None:
    kiln = a_watched_kiln(*SIDES, places=("left", "right"))
    for code in ("wick-apart", "dry-apart"):
        a_watch(kiln, code)
    looked(kiln, both_sides(kiln, wet=3))
    first = Firing.objects.get()
    assert first.is_notice
    assert list(Firing.objects.notices(MONDAY + timedelta(days=1))) == [first]
    assert not WorkOrder.objects.exists()
    looked(kiln, both_sides(kiln, DRYING_S + 3600, dry=3), DRYING_S + 3600)
    order = WorkOrder.objects.get()
    assert list(Firing.objects.values_list("work_order", "is_notice")) == [(order.pk, False)] * 2


def test_a_hint_long_ago_and_one_found_false_do_not_agree() -> None:
    kiln = a_watched_kiln(*SIDES, places=("left", "right"))
    for code in ("wick-apart", "dry-apart"):
        a_watch(kiln, code)
    looked(kiln, both_sides(kiln, wet=3))
    judge(Firing.objects.get(), by=UserFactory(role="kiln_master"), verdict="wrong", why="swapped cables")
    looked(kiln, both_sides(kiln, DRYING_S + 3600, dry=3), DRYING_S + 3600)
    assert not WorkOrder.objects.exists()
    assert Firing.objects.filter(is_notice=True).count() == 2


def test_a_hint_on_the_same_kind_joins_the_work_that_another_watch_raised() -> None:
    kiln = a_watched_kiln(*SIDES, places=("left", "right"))
    for code in ("wick-dry-left", "wick-apart"):
        a_watch(kiln, code)
    looked(kiln, both_sides(kiln, wet=9.8))
    order = WorkOrder.objects.get()
    assert set(Firing.objects.values_list("watch__code", "work_order")) == {
        ("wick-dry-left", order.pk),
        ("wick-apart", order.pk),
    }


# the verdict


def test_somebody_says_whether_it_was_right_and_may_take_it_back() -> None:
    firing, user = a_dry_wick(), UserFactory(role="technician")
    judged = judge(firing, by=user, verdict="right", why="The trough was empty.")
    assert (judged.verdict, judged.judged_by) == ("right", user)
    watch = Watch.objects.with_counts().get(pk=firing.watch_id)
    assert (watch.raised, watch.right, watch.wrong, watch.unjudged, watch.open_now) == (1, 1, 0, 0, 1)
    assert judge(firing, by=user, verdict="").judged_at is None
    with pytest.raises(ValidationError):
        judge(firing, by=user, verdict="maybe")
    with pytest.raises(PermissionDenied):
        judge(firing, by=UserFactory(username="siv", role="auditor"), verdict="right")


def under_way(order: WorkOrder) -> WorkOrder:
    WorkOrder.objects.filter(pk=order.pk).update(state="under_way")
    order.steps.all().delete()
    order.refresh_from_db()
    return order


def test_work_that_confirms_a_failure_mode_shows_the_watch_right_and_leaves_a_defect() -> None:
    firing = a_dry_wick()
    order = under_way(WorkOrder.objects.get())
    mode = FailureMode.objects.get(code="trough-scaled")
    finish(order, by=a_user("technician"), version=order.version, found=mode)
    firing.refresh_from_db()
    assert (firing.verdict, firing.defect.failure_mode) == ("right", mode)  # type: ignore[union-attr]
    order.refresh_from_db()
    assert order.defect == firing.defect


def test_work_that_found_nothing_shows_the_watch_false() -> None:
    firing = a_dry_wick()
    order = under_way(WorkOrder.objects.get())
    finish(order, by=a_user("technician"), version=order.version, found_nothing=True)
    firing.refresh_from_db()
    assert firing.verdict == "wrong"


def test_work_that_says_nothing_leaves_the_question_open() -> None:
    firing = a_dry_wick()
    order = under_way(WorkOrder.objects.get())
    finish(order, by=a_user("technician"), version=order.version)
    firing.refresh_from_db()
    assert firing.verdict == ""


@pytest.mark.parametrize(("found_nothing", "verdict"), [(True, "wrong"), (False, "")])
def test_withdrawn_work_judges_only_where_somebody_looked(found_nothing: bool, verdict: str) -> None:
    firing = a_dry_wick()
    order = WorkOrder.objects.get()
    withdraw(order, by=a_user("planner"), version=order.version, why="no need", found_nothing=found_nothing)
    firing.refresh_from_db()
    assert firing.verdict == verdict


def test_a_defect_on_record_speaks_for_the_watch_until_it_is_struck() -> None:
    firing = a_dry_wick()
    other = record_defect(
        kiln=firing.watch.kiln, component=a_component(firing.watch.kiln, "fan", "1"), what="loose", by=None
    )
    firing.refresh_from_db()
    assert firing.verdict == ""
    defect = record_defect(kiln=firing.watch.kiln, component=firing.watch.component, what="no water", by=None)
    firing.refresh_from_db()
    assert (firing.verdict, firing.defect) == ("right", defect)
    strike_defect(defect, by=None, why="It was the other kiln.")
    firing.refresh_from_db()
    assert (firing.verdict, firing.defect) == ("", None)
    assert other.component


def test_looking_over_the_past_judges_by_what_was_found_then(monkeypatch: pytest.MonkeyPatch) -> None:
    kiln = a_watched_kiln()
    a_watch(kiln, "wick-dry-left")
    until_s = dry_wick(kiln, after=30)
    stand_at(monkeypatch, until_s + 3600)
    record_defect(kiln=kiln, component=kiln.components.get(), what="no water", by=None)
    stand_at(monkeypatch, MONDAY_S + 40 * 86_400)
    for _time in range(2):
        look_over_past(kiln, MONDAY_S, until_s)
    firing = Firing.objects.get()
    assert firing.verdict == "right"
    assert firing.noticed_at == firing.begin_at


# the picture and the pages


def test_the_picture_keeps_few_points_and_grows_until_it_is_whole() -> None:
    kiln = a_watched_kiln()
    firing = a_dry_wick(kiln)
    assert not firing.picture["is_whole"]
    lines = firing.picture["lines"]
    assert [line["key"] for line in lines] == ["depression:left", "air_temperature:left", "wet_bulb:left"]
    assert all(len(line["low"]) + len(line["high"]) <= 200 for line in lines)
    last_s = int(firing.begin_at.timestamp()) + 51 * 60
    after_s = dry_wick(kiln, last_s, sound=0, dry=7 * 60)
    looked(kiln, after_s, last_s)
    firing.refresh_from_db()
    assert firing.picture["is_whole"]


def test_the_picture_can_be_drawn_and_read_as_a_table() -> None:
    picture = draw(a_dry_wick())
    assert picture
    assert len(picture.panels) == 3
    assert picture.heads[1] == "dry bulb less wet bulb on the left, K"
    assert any("0.2" in cell for row in picture.rows for cell in row)
    assert "It spoke up at 2 Mar 18:40." in picture.description
    for panel in picture.panels:
        assert panel.shapes
        assert 2 <= len(panel.marks) <= 8


def test_the_work_order_page_shows_what_the_watch_saw(client: Client) -> None:
    firing = a_dry_wick()
    page = signed_in(client, a_user("technician")).get(WorkOrder.objects.get().get_absolute_url()).content.decode()
    assert say(firing.sentence) in page
    assert "<svg viewBox" in page
    assert "The same as a table" in page


def test_whoever_finishes_the_work_is_asked_what_it_was(client: Client) -> None:
    firing = a_dry_wick()
    order = under_way(WorkOrder.objects.get())
    user = a_user("technician")
    start_page = signed_in(client, user).get(f"/work-orders/{order.number}/finish/")
    assert start_page.status_code == 200
    assert "What was it?" in start_page.content.decode()
    answer = {"version": order.version, "result": "New wick.", "found": "wick-dry"}
    client.post(f"/work-orders/{order.number}/finish/", answer)
    firing.refresh_from_db()
    assert firing.verdict == "right"


def test_a_hint_is_counted_in_the_morning_and_told_on_the_kilns_page(client: Client) -> None:
    kiln = a_watched_kiln(*SIDES, places=("left", "right"))
    a_watch(kiln, "wick-apart")
    looked(kiln, both_sides(kiln, wet=3))
    signed_in(client, a_user("kiln_master"))
    assert "1 hint of a watch" in client.get("/kilns/").content.decode()
    page = client.get("/kilns/K1/").content.decode()
    assert "The wet bulbs differ by 3 K." in page
    assert "Hints of the watches" in page
