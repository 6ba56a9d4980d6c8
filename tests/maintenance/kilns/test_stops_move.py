"""A stop that is reported moves what stands on it: the charge, its openings, and the jobs that need a running kiln."""

from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.test import Client
from django.utils import timezone

from maintenance.models import Placement
from maintenance.plans.by_hand import place_by_hand
from maintenance.plans.offers import times_of_kiln
from maintenance.plans.placing_all import place_all
from maintenance.plans.standing import standing_now
from maintenance.telling.day_sheet import DaySheet
from plant.basics.sentences import Sentence, typed
from plant.charges.telling import tell
from plant.downtime.keeping import DowntimeFacts, end_downtime
from plant.kilns.kilns_now import kilns_now
from plant.kilns.stopping import report_stop, take_back_stop
from plant.models import Change, Charge, ChargeWord, Downtime, Kiln, User
from tests.factories import MONDAY, DowntimeFactory, KilnFactory
from tests.maintenance.mill import a_user, opened, signed_in
from tests.maintenance.placing_mill import OPENING_FROM, job, on_shift, programme

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
# Tuesday at seven at the mill: the first charge dries since Monday.
NOW = MONDAY + timedelta(days=1)


@pytest.fixture(autouse=True)
def _tuesday() -> Any:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def kiln() -> Kiln:
    programme()
    found: Kiln = Kiln.objects.get()
    return found


@pytest.fixture
def ilse(kiln: Kiln) -> User:
    return a_user("kiln_master", "ilse")


def stops(kiln: Kiln, by: User, charge_end_at: datetime | None = None, **facts: Any) -> Downtime:
    said = DowntimeFacts(**{"kind": "unplanned", "start_at": NOW - HOUR, "cause": "fan 3 seized", **facts})
    return report_stop(kiln, said, charge_end_at=charge_end_at, key=uuid4(), by=by)


def out_at(kiln: Kiln) -> datetime:
    """When the charge in the kiln is expected out: the next opening begins then."""
    opening = kilns_now([kiln], timezone.now())[0].opening
    assert opening
    return opening.start_at


def test_where_nobody_knows_its_end_the_charge_comes_later_by_as_long_as_the_kiln_may_stand(
    kiln: Kiln, ilse: User
) -> None:
    stops(kiln, ilse, expected_end_at=NOW + 9 * HOUR)
    assert out_at(kiln) == OPENING_FROM + 10 * HOUR
    stand = kilns_now([kiln], NOW)[0]
    assert stand.lasting is not None
    assert (stand.state.state, stand.lasting.end_at) == ("stopped", NOW + 9 * HOUR)


def test_where_its_new_end_is_told_the_charge_has_that(kiln: Kiln, ilse: User, client: Client) -> None:
    stops(kiln, ilse, OPENING_FROM + 3 * HOUR, expected_end_at=NOW + 9 * HOUR)
    assert out_at(kiln) == OPENING_FROM + 3 * HOUR
    word = ChargeWord.objects.get()
    assert (word.what, word.why) == ("expected", "")
    assert word.said == (Sentence.of("stop.cause", kiln="K1", cause=typed("fan 3 seized")),)
    page = signed_in(client, ilse).get(word.charge.get_absolute_url()).content.decode()
    assert page.count("K1 stands: fan 3 seized") >= 2, "where it was told, and in the history"


def test_what_an_older_version_kept_as_text_is_read_as_it_was(kiln: Kiln, ilse: User, client: Client) -> None:
    charge = Charge.objects.get(basis="running")
    word = tell(charge, "expected", OPENING_FROM + 2 * HOUR, key=uuid4(), by=ilse, why="K1 steht: Lüfter 3")
    assert word.said is None
    assert "K1 steht: Lüfter 3" in signed_in(client, ilse).get(charge.get_absolute_url()).content.decode()


def test_its_end_told_later_takes_the_place_of_not_knowing(kiln: Kiln, ilse: User, client: Client) -> None:
    stops(kiln, ilse, expected_end_at=NOW + 9 * HOUR)
    unknown = "Nobody knows when its charge will be out"
    assert unknown in signed_in(client, ilse).get("/charges/").content.decode()
    with time_machine.travel(NOW + HOUR, tick=False):
        charge = Charge.objects.get(basis="running")
        tell(charge, "expected", OPENING_FROM + 2 * HOUR, key=uuid4(), by=ilse)
        assert out_at(kiln) == OPENING_FROM + 2 * HOUR
        assert unknown not in signed_in(client, ilse).get("/charges/").content.decode()


def test_of_a_stop_that_a_file_brought_nobody_said_what_becomes_of_the_charge(
    kiln: Kiln, ilse: User, client: Client
) -> None:
    record = Downtime.objects.create(kiln=kiln, kind="unplanned", start_at=NOW - HOUR, share_lost=1, cause="fan 3")
    page = signed_in(client, ilse).get(f"/kilns/{kiln.tag}/stops/{record.pk}/").content.decode()
    charge = Charge.objects.get(basis="running")
    assert "Nobody said that" in page
    assert "No charge comes later" not in page
    assert f"/charges/{kiln.tag}/{charge.pk}/expected/" in page


def test_once_the_kiln_dries_again_the_charge_is_later_by_as_long_as_it_stood(kiln: Kiln, ilse: User) -> None:
    record = stops(kiln, ilse, expected_end_at=NOW + 9 * HOUR)
    with time_machine.travel(NOW + 4 * HOUR, tick=False):
        end_downtime(record, NOW + 4 * HOUR, by=ilse)
        assert out_at(kiln) == OPENING_FROM + 5 * HOUR


def test_where_nobody_knows_until_when_such_stops_on_record_tell(kiln: Kiln, ilse: User) -> None:
    other = KilnFactory(tag="K2")
    for days, length in ((10, 4), (20, 6), (30, 8)):
        begin_at = NOW - timedelta(days=days)
        DowntimeFactory(kiln=other, kind="unplanned", start_at=begin_at, end_at=begin_at + length * HOUR)
    stops(kiln, ilse)
    lasting = kilns_now([kiln], NOW)[0].lasting
    assert lasting is not None
    assert (lasting.end_at, lasting.count) == (NOW + 5 * HOUR, 3)
    assert out_at(kiln) == OPENING_FROM + 6 * HOUR


def test_what_somebody_said_and_has_gone_by_goes_on_until_it_is_told_to_be_over(kiln: Kiln, ilse: User) -> None:
    stops(kiln, ilse, expected_end_at=NOW + HOUR)
    later = NOW + 5 * HOUR
    with time_machine.travel(later, tick=False):
        stand = kilns_now([kiln], later)[0]
        assert stand.lasting is not None
        assert (stand.state.state, stand.lasting.is_late) == ("stopped", True)
        assert out_at(kiln) > OPENING_FROM + 6 * HOUR


def test_running_work_is_not_offered_while_the_kiln_stands_and_work_beside_the_timber_is(
    kiln: Kiln, ilse: User
) -> None:
    on_shift()
    running, still = job(needs_state="running"), job(needs_state="still")
    stops(kiln, ilse, expected_end_at=NOW + 30 * HOUR)
    times = times_of_kiln(standing_now(NOW), kiln.tag, NOW)
    during = [one for one in times if one.serves(running)]
    assert min(one.work_from_at for one in during) >= NOW + 30 * HOUR
    assert any(one.serves(still) and one.start_at <= NOW + HOUR for one in times)
    place_all(NOW)
    assert Placement.objects.get(work_order=running).start_at >= NOW + 30 * HOUR
    assert Placement.objects.get(work_order=still).start_at < NOW + 30 * HOUR


def test_what_falls_is_shown_at_once_and_running_work_is_not_on_the_day_sheet(
    kiln: Kiln, ilse: User, client: Client
) -> None:
    oda = on_shift()
    looked_at, inside = job(needs_state="running", title="Look at the fans"), job(title="Free the flap")
    place_by_hand(looked_at, NOW + 2 * HOUR, [oda], by=None)
    place_by_hand(inside, OPENING_FROM + HOUR, [oda], by=None)
    until = (NOW + 9 * HOUR).astimezone(kiln.mill.zone).strftime("%Y-%m-%dT%H:%M")
    start = (NOW - HOUR).astimezone(kiln.mill.zone).strftime("%Y-%m-%dT%H:%M")
    browser = signed_in(client, ilse)
    assert "now expected out at" in browser.get("/kilns/K1/downtime/").content.decode()
    said = {"kind": "unplanned", "start_at": start, "expected_end_at": until, "share_lost_pct": "100", "cause": "fan 3"}
    answer = browser.post("/kilns/K1/downtime/", {**said, "key": str(uuid4())}, follow=True)
    record = Downtime.objects.get()
    assert answer.redirect_chain == [(f"/kilns/K1/stops/{record.pk}/", 302)]
    page = answer.content.decode()
    fallen = [one.job.work_order for one in answer.context["fallen"]]
    assert fallen == [looked_at, inside]
    assert "It may last until Tue 3 Mar 16:00, as was told." in page
    assert "it stands until Tue 3 Mar, 16:00, its charge in it." in page
    moved = answer.context["charges"][0]
    assert (moved.before[1], moved.after[1]) == (OPENING_FROM, OPENING_FROM + 10 * HOUR)
    assert answer.context["openings"][0].after[0] == OPENING_FROM + 10 * HOUR
    sheet = DaySheet.of((NOW + 2 * HOUR).date(), kiln.mill)
    assert [one.order.number for one in sheet.jobs] == []
    assert [one.order.number for one in sheet.standing] == [looked_at.number]
    assert sheet.not_done(sheet.standing) == [f"K1 stands: {looked_at.number} Look at the fans waits until it runs."]


def test_a_report_is_taken_back_with_what_was_told_with_it(kiln: Kiln, ilse: User) -> None:
    record = stops(kiln, ilse, OPENING_FROM + 3 * HOUR)
    with pytest.raises(ValidationError, match="Say why it is taken back"):
        take_back_stop(record, why=" ", by=ilse)
    take_back_stop(record, why="it was K2", by=ilse)
    assert not Downtime.objects.exists()
    assert out_at(kiln) == OPENING_FROM
    assert Change.objects.about(kiln).filter(act="downtime taken back").get().note == "it was K2"


def test_a_report_that_is_sent_twice_is_one(kiln: Kiln, ilse: User) -> None:
    facts, key = DowntimeFacts("unplanned", NOW - HOUR, cause="fan 3"), uuid4()
    first = report_stop(kiln, facts, charge_end_at=OPENING_FROM + HOUR, key=key, by=ilse)
    assert report_stop(kiln, facts, charge_end_at=OPENING_FROM + HOUR, key=key, by=ilse) == first
    assert ChargeWord.objects.count() == 1


@pytest.mark.parametrize(
    ("facts", "charge_end_at", "message"),
    [
        ({"end_at": NOW - 2 * HOUR}, None, "is not after the start"),
        ({"expected_end_at": NOW - HOUR / 2}, None, "it cannot last until then"),
        ({"start_at": NOW - 3 * HOUR}, None, "on record as unplanned from"),
        ({"start_at": NOW - 3 * HOUR, "end_at": NOW - HOUR}, None, "the two share time"),
        ({"kind": "external", "start_at": NOW - HOUR}, NOW - HOUR, "That instant has gone by"),
        ({"kind": "no_timber"}, OPENING_FROM, "No charge stands still for this"),
    ],
)
def test_what_cannot_be_is_refused_with_what_is_wrong_and_nothing_is_kept(
    kiln: Kiln, ilse: User, facts: dict[str, Any], charge_end_at: datetime | None, message: str
) -> None:
    stops(kiln, ilse, start_at=NOW - 2 * HOUR)
    with pytest.raises(ValidationError, match=message):
        stops(kiln, ilse, charge_end_at, **facts)
    assert Downtime.objects.count() == 1
    assert not ChargeWord.objects.exists()


def test_of_two_who_report_the_same_stop_the_second_is_told_of_the_first(kiln: Kiln, ilse: User) -> None:
    stops(kiln, ilse)
    with pytest.raises(ValidationError, match=r"on record as unplanned from .* until now, it is still open"):
        stops(kiln, a_user("technician", "tom"), start_at=NOW - HOUR / 2)


def test_who_is_inside_is_named_to_whoever_reports_a_stop(kiln: Kiln, ilse: User, client: Client) -> None:
    Charge.objects.all().delete()
    opened(kiln, ilse)
    start = (NOW - HOUR).astimezone(kiln.mill.zone).strftime("%Y-%m-%dT%H:%M")
    said = {"kind": "unplanned", "start_at": start, "share_lost_pct": "100", "key": str(uuid4())}
    page = signed_in(client, ilse).post("/kilns/K1/downtime/", said, follow=True).content.decode()
    assert "K1 is open for entry." in page
    with pytest.raises(ValidationError, match="K1 is open for entry"):
        take_back_stop(Downtime.objects.get(), why="it was K2", by=ilse)
