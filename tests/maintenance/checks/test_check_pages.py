"""A round on the phone: start, sit, one point after the other, defects into work, complete."""

from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from maintenance.checks.checks import start_check
from maintenance.models import Caution, CheckPoint, Defect, EntryPermit, Finding, FunctionCheck, Sitting, WorkOrder
from plant.models import FailureMode, User
from tests.factories import (
    CheckPointFactory,
    ComponentFactory,
    ComponentKindFactory,
    DefectFactory,
    KilnFactory,
    MillFactory,
)
from tests.maintenance.mill import a_user, signed_in
from tests.maintenance.work.test_work_order_pages import door
from tests.pages import markup

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _mill() -> None:
    MillFactory()


@pytest.fixture
def check() -> FunctionCheck:
    """A check of a kiln with one fan, one point for each state."""
    kiln = KilnFactory(is_reversing=False)
    ComponentFactory(kiln=kiln)
    CheckPointFactory()
    CheckPointFactory(code="fans-run", what="All fans run", seen_in="running")
    return start_check(kiln, by=a_user("kiln_master"))


@pytest.fixture
def master(client: Client) -> Client:
    return signed_in(client, a_user("kiln_master"))


def page(client: Client, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200
    return answer.content.decode()


def url(check: FunctionCheck, part: str = "") -> str:
    return f"/rounds/checks/{check.number}/{part}"


def point(check: FunctionCheck, code: str) -> str:
    item = check.items.get(point__code=code)
    return url(check, f"points/{item.pk}/")


def sit(client: Client, check: FunctionCheck, state: str = "running", **said: Any) -> Any:
    return client.post(
        url(check, "sit/"), {"kiln_state": state, "is_cautions_read": "on", "is_own_lock_on": "on", **said}
    )


def say(client: Client, path: str, result: str, **said: Any) -> Any:
    return client.post(path, {"key": uuid4(), "result": result, **said})


def test_the_way_in_shows_progress_by_state_and_kilns_never_checked(master: Client, check: FunctionCheck) -> None:
    KilnFactory(tag="K9")
    shown = page(master, "/rounds/")
    assert "open part: 0 of 1 seen" in shown and "running part: 0 of 1 seen" in shown
    assert "Checks are under way at K1; 2 kilns were never checked." in shown


def test_a_check_is_started_by_a_button_and_a_kiln_without_components_says_why_not(master: Client) -> None:
    KilnFactory(tag="K9")
    answer = master.post("/rounds/checks/", {"kiln": "K9"}, follow=True)
    assert "K9 has no components on record" in answer.content.decode()
    ComponentFactory(kiln=KilnFactory(tag="K2"))
    CheckPointFactory()
    answer = master.post("/rounds/checks/", {"kiln": "K2"})
    assert answer["Location"] == FunctionCheck.objects.get().get_absolute_url()


def test_a_round_over_two_sittings(master: Client, check: FunctionCheck) -> None:
    assert sit(master, check).status_code == 302
    assert say(master, point(check, "fans-run"), "sound")["Location"] == url(check)
    sitting = Sitting.objects.get()
    master.post(url(check, f"sittings/{sitting.pk}/end/"))
    assert "running part: 1 of 1 seen" in page(master, url(check))
    assert "points have no finding" in master.post(url(check, "complete/"), follow=True).content.decode()
    assert sit(master, check, "open_empty", **door()).status_code == 302
    say(master, point(check, "fan-blades"), "worn", note="bright ring")
    inside = Sitting.objects.get(ended_at__isnull=True)
    answer = master.post(url(check, f"sittings/{inside.pk}/end/"))
    assert answer["Location"] == f"/rounds/permits/{EntryPermit.objects.get().pk}/"
    assert "is complete" in master.post(url(check, "complete/"), follow=True).content.decode()


def test_once_the_door_is_closed_a_sitting_inside_leads_to_no_further_point(
    master: Client, check: FunctionCheck
) -> None:
    sit(master, check, "open_empty", **door())
    assert "Next point" in page(master, url(check))
    door_page = f"/rounds/permits/{EntryPermit.objects.get().pk}/"
    assert "1 person is inside" in page(master, door_page)
    oda = Sitting.objects.get().by.person  # type: ignore[union-attr]
    master.post(f"{door_page}out/", {"key": uuid4(), "person": oda.pk})  # type: ignore[union-attr]
    closing = {"key": uuid4(), "is_everybody_out": "on"}
    unnamed = master.post(f"{door_page}close/", closing).content.decode()
    assert "This must be so first" in unnamed and not EntryPermit.objects.filter(act="closed").exists()
    master.post(f"{door_page}close/", {**closing, f"sitting-{Sitting.objects.get().pk}": "on"})
    assert Sitting.objects.get().ended_at
    assert "Next point" not in page(master, url(check))
    assert "is closed for entry" in page(master, door_page)


def test_a_fault_of_the_way_out_says_that_somebody_may_be_inside(master: Client, check: FunctionCheck) -> None:
    sit(master, check, "open_empty", **door())
    DefectFactory(kiln=check.kiln, blocks_entry=True)
    shown = page(master, url(check))
    assert "is still open for entry: somebody may be inside. Count everybody out now." in shown
    assert "Each person puts on a lock" not in shown
    assert "Next point" not in shown


def test_a_refusal_unfolds_the_part_it_belongs_to(master: Client, check: FunctionCheck) -> None:
    sit(master, check)
    shown = say(master, point(check, "fans-run"), "not_seen")
    assert markup(shown).count('<details class="more" open>') == 1
    long = say(master, point(check, "fans-run"), "worn", note="x" * 1001)
    assert long.status_code == 200 and not Finding.objects.exists()


def test_cautions_come_before_each_sitting_and_the_door_before_one_inside(master: Client, check: FunctionCheck) -> None:
    assert "Switched off is not the same as safe" in page(master, url(check, "sit/?kiln_state=running"))
    assert "At the door of K1" in page(master, url(check, "sit/?kiln_state=open_empty"))
    refused = sit(master, check, "open_empty", **door(temperature="70"))
    assert "limit is 35" in refused.content.decode()
    assert not Sitting.objects.exists()


def test_three_cautions_stand_in_full_and_the_others_fold_under_their_titles(
    master: Client, check: FunctionCheck
) -> None:
    for code in ("general", "lock-out", "warm-chamber"):
        Caution.objects.create(code=code, title=code)
    CheckPoint.objects.get(code="fan-blades").cautions.create(code="height", title="At height")
    shown = page(master, url(check, "sit/?kiln_state=open_empty"))
    assert shown.count('class="caution-folded"') == 1
    assert "<summary><h3>At height</h3></summary>" in shown
    assert "I have read all cautions" in shown
    assert "caution-folded" not in page(master, url(check, "sit/?kiln_state=running"))


def test_a_defect_offers_to_become_work_in_one_step(master: Client, check: FunctionCheck) -> None:
    sit(master, check)
    here = point(check, "fans-run")
    mode = FailureMode.objects.create(kind=ComponentKindFactory(), code="fan-stopped", name="fan stands still")
    assert say(master, here, "defect", failure_mode=mode.pk)["Location"] == here
    assert "Make it a work order" in page(master, here)
    answer = master.post(f"/rounds/defects/{Defect.objects.get().pk}/work-order/")
    order = WorkOrder.objects.get()
    assert (answer["Location"], order.defect.what) == (order.get_absolute_url(), "fan stands still")  # type: ignore[union-attr]
    assert order.number in page(master, here)


def test_a_fault_of_the_way_out_shouts_on_every_page_of_the_kiln(master: Client, check: FunctionCheck) -> None:
    CheckPoint.objects.update(blocks_entry=True)
    sit(master, check)
    answer = say(master, point(check, "fans-run"), "defect", note="latch stiff", said_again="defect")
    assert "barred to entry from now on" in master.get(answer["Location"]).content.decode()
    for path in (url(check), point(check, "fans-run"), url(check, "sit/?kiln_state=open_empty")):
        assert "Nobody may enter K1" in page(master, path)
    assert "Nobody may enter K1 until" in page(master, "/rounds/defects/")


def test_what_was_typed_stays_when_it_is_refused(master: Client, check: FunctionCheck) -> None:
    sit(master, check)
    answer = say(master, point(check, "fans-run"), "not_seen", note="too dark")
    assert "Say why it could not be seen" in answer.content.decode() and "too dark" in answer.content.decode()
    assert not Finding.objects.exists()


@pytest.mark.parametrize("said", [{"result": "splendid"}, {"result": "sound", "key": "no-key"}, {}])
def test_nonsense_is_refused_without_a_crash(master: Client, check: FunctionCheck, said: dict[str, str]) -> None:
    sit(master, check)
    assert master.post(point(check, "fans-run"), {"key": str(uuid4()), **said}).status_code == 200
    assert not Finding.objects.exists()


def test_without_a_sitting_nothing_is_entered(master: Client, check: FunctionCheck) -> None:
    answer = say(master, point(check, "fans-run"), "sound")
    assert "Start a sitting first" in answer.content.decode()


def test_a_clad_inner_skin_brings_its_reason_and_points_to_the_outer_skin(master: Client) -> None:
    kiln = KilnFactory(tag="K2", is_reversing=False, is_inner_skin_visible=False)
    inner = ComponentKindFactory(code="inner-skin", group="envelope", end_view_no=1)
    outer = ComponentKindFactory(code="outer-skin", group="envelope", end_view_no=1)
    felt = CheckPointFactory(code="outer-skin-felt", kind=outer, seen_in="running", what="Outer skin felt")
    CheckPointFactory(code="inner-skin-surface", kind=inner, substitute=felt, seen_in="either")
    ComponentFactory(kiln=kiln, kind=inner, tag="inner-skin")
    clad = start_check(kiln, by=a_user("kiln_master"))
    sit(master, clad)
    here = point(clad, "inner-skin-surface")
    assert "The inner skin is clad." in page(master, here)
    following = say(master, here, "not_seen", reason="The inner skin is clad.")["Location"]
    assert "Outer skin felt" in page(master, following)


def test_a_reversing_kiln_says_which_sides_are_not_sensed(master: Client, check: FunctionCheck) -> None:
    check.kiln.is_reversing = True
    check.kiln.save()
    ComponentFactory(kiln=check.kiln, kind=ComponentKindFactory(code="thermometer"), tag="t-left", side="left")
    shown = page(master, url(check))
    assert "no thermometer on the right" in shown and "no humidity sensor on the left" in shown
    assert "no thermometer on the left" not in shown


def test_the_page_of_a_check_takes_as_many_queries_for_many_points(master: Client, check: FunctionCheck) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as caught:
            page(master, url(check))
        return len(caught)

    queries()  # the first look of a day renews the sign-in
    few = queries()
    for number in range(20):
        point_ = CheckPointFactory(code=f"point-{number}")
        check.items.create(point=point_, component=check.kiln.components.first())
    assert queries() == few


def test_defects_of_one_kiln_and_their_work(master: Client) -> None:
    DefectFactory(what="wobbles badly")
    DefectFactory(what="hinge squeals", kiln=KilnFactory(tag="K2"))
    shown = page(master, "/rounds/defects/?kiln=K2")
    assert "hinge squeals" in shown and "wobbles badly" not in shown
    assert master.get("/rounds/defects/?kiln=nowhere").status_code == 404


def test_a_defect_is_struck_with_a_reason(master: Client) -> None:
    defect = DefectFactory()
    strike = f"/rounds/defects/{defect.pk}/strike/"
    assert master.post(strike, {"why": ""}).status_code == 200
    assert master.post(strike, {"why": "wrong button"}).status_code == 302
    assert not Defect.objects.not_cured().exists()


@pytest.mark.parametrize("role", ["auditor", "manager"])
def test_who_only_reads_may_look_but_not_enter(client: Client, check: FunctionCheck, role: str) -> None:
    reader: User = a_user(role, "vera")
    looking = signed_in(client, reader)
    for path in ("/rounds/", url(check), point(check, "fans-run"), "/rounds/defects/"):
        assert looking.get(path).status_code == 200
    for path in ("/rounds/checks/", url(check, "sit/"), url(check, "complete/"), url(check, "withdraw/")):
        assert looking.post(path, {"kiln": "K1"}).status_code == 403
    assert say(looking, point(check, "fans-run"), "sound").status_code in (200, 403)
    assert not Finding.objects.exists()
