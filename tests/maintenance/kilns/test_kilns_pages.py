"""The Kilns page and the page of one kiln."""

import re
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inventory.actions.reserving import reserve
from maintenance.checks.end_view_marks import marks_of
from maintenance.models import (
    CheckItem,
    CheckPoint,
    Defect,
    EntryPermit,
    Finding,
    FunctionCheck,
    Placement,
    Sitting,
    WorkPart,
)
from plant import clock
from plant.basics.sentences import typed
from plant.charges.telling import tell
from plant.models import Change, Kiln, Mill
from tests.factories import (
    ChargeFactory,
    ComponentFactory,
    ComponentKindFactory,
    DowntimeFactory,
    KilnFactory,
    MillFactory,
    PartFactory,
    PersonFactory,
    UserFactory,
    WorkOrderFactory,
)

pytestmark = pytest.mark.django_db
BACKEND = "django.contrib.auth.backends.ModelBackend"
NOW = clock.now().replace(hour=9, minute=0, second=0, microsecond=0)


@pytest.fixture(autouse=True)
def _nine_o_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: NOW)


@pytest.fixture
def oda(client: Client) -> Client:
    MillFactory()
    client.force_login(UserFactory(role="planner"), backend=BACKEND)
    return client


def hours(count: float) -> timedelta:
    return timedelta(hours=count)


def open_kiln(tag: str = "K1") -> Kiln:
    """A kiln that opened three hours ago and is to be loaded in five."""
    kiln = KilnFactory(tag=tag)
    ChargeFactory(kiln=kiln, begin_at=NOW - hours(123), days=5, basis="done")
    ChargeFactory(kiln=kiln, begin_at=NOW + hours(5), days=5, basis="planned", species="pine", thickness_mm=38)
    return kiln


def place(kiln: Kiln, title: str = "Free the flap linkage", **kwargs: Any) -> Placement:
    order = WorkOrderFactory(kiln=kiln, title=title, raised_at=NOW - hours(48), due_at=NOW + hours(24), **kwargs)
    return Placement.objects.create(work_order=order, start_at=NOW, end_at=NOW + hours(1), why=typed("only now open"))


def card(client: Client, tag: str = "K1") -> Any:
    cards = client.get("/kilns/").context["morning"].cards
    return next(card for card in cards if card.kiln.tag == tag)


def test_without_a_mill_or_a_kiln_the_page_says_what_to_do(client: Client) -> None:
    client.force_login(UserFactory(role="planner"), backend=BACKEND)
    assert "manage.py load FOLDER" in client.get("/kilns/").content.decode()
    MillFactory()
    page = client.get("/kilns/").content.decode()
    assert "No kiln is on record yet." in page
    assert "/first-hour/" in page


@pytest.mark.parametrize(
    ("begin", "days", "word", "line"),
    [
        (-1, 5, "loading", "until"),
        (-4, 5, "heating up", "hour 3 of 8"),
        (-60, 9, "drying", "day 3 of 8"),
        (-9 * 24 + 12, 9, "conditioning", "until"),
        (-9 * 24 + 6, 9, "cooling", "until"),
    ],
)
def test_a_card_tells_the_phase_and_how_far_it_is(oda: Client, begin: float, days: int, word: str, line: str) -> None:
    ChargeFactory(begin_at=NOW + hours(begin), days=days, basis="running")
    found = card(oda)
    assert found.word == word
    assert found.lines[0].startswith(line)
    assert found.lines[1] == "spruce 50 mm"


def test_a_charge_is_unloaded_once_its_kiln_was_told_open(oda: Client) -> None:
    charge = ChargeFactory(begin_at=NOW - hours(9 * 24 - 1), days=9, basis="running")
    assert (card(oda).word, card(oda).lines[0].endswith("nobody has told that it was.")) == ("cooling", True)
    tell(charge, "opened", NOW - hours(1), key=uuid4(), by=None)
    found = card(oda)
    assert (found.word, found.lines[0][:6]) == ("unloading", "until ")


def test_a_charge_that_nobody_told_out_is_in_the_kiln_and_both_pages_say_since_when(oda: Client) -> None:
    charge = ChargeFactory(begin_at=NOW - hours(5 * 24 + 3), days=5, basis="running", number="26-118")
    said = f"Charge 26-118 should have been out on {NOW - hours(3):%a}"
    assert card(oda).word == "cooling"
    assert card(oda).lines[0].startswith(said)
    assert "opening now" not in card(oda).tags[0].text
    page = oda.get(f"/kilns/{charge.kiln.tag}/").content.decode()
    assert said in page
    assert "cooling, should be out since " in page
    assert f"/charges/{charge.kiln.tag}/{charge.pk}/unloaded/" in page
    tell(charge, "unloaded", NOW - hours(2), key=uuid4(), by=None)
    assert card(oda).word == "open and empty"
    assert said not in oda.get(f"/kilns/{charge.kiln.tag}/").content.decode()


def test_a_mill_that_goes_by_the_programme_sees_its_kiln_open_by_it(oda: Client) -> None:
    Mill.objects.update(charges_end_by_programme=True)
    ChargeFactory(begin_at=NOW - hours(5 * 24 + 3), days=5, basis="running")
    assert (card(oda).word, card(oda).tags[0].text) == ("open and empty", "opening now: no end planned")


def test_an_open_kiln_says_since_when_and_how_long(oda: Client) -> None:
    open_kiln()
    found = card(oda)
    assert (found.word, found.tags[0].text) == ("open and empty", "opening now: 5 h")
    assert found.lines[0].startswith("since ")
    assert found.lines[1].startswith("loading due ")


@pytest.mark.parametrize("is_planned", [False, True])
def test_a_kiln_without_a_charge_on_record_is_never_called_open(oda: Client, is_planned: bool) -> None:
    kiln = KilnFactory(tag="K1")
    if is_planned:
        ChargeFactory(kiln=kiln, begin_at=NOW + hours(5), days=5, basis="planned")
    found = card(oda)
    assert (found.word, found.lines[0]) == ("no charge is on record", "what is in it is not known")
    pages = [oda.get(address) for address in ("/kilns/", "/kilns/K1/", "/openings/")]
    assert pages[0].context["morning"].sentence == (
        "No charge is on record of K1: whether timber is inside is not known."
    )
    kilns, kiln_page, board = (page.content.decode() for page in pages)
    for text in (kilns, kiln_page):
        assert not re.search(r"K1( is)? open and empty|opening now|is open or will open", text)
    assert "K1, no charge is on record before, " in board
    # After the charge that is planned it will be.
    assert board.count("K1 open and empty, ") == int(is_planned)


def test_a_charge_planned_long_ago_and_never_loaded_hides_no_record_before_it(oda: Client) -> None:
    ChargeFactory(begin_at=NOW - hours(600), days=5, basis="done")
    ChargeFactory(begin_at=NOW - hours(300), days=5, basis="planned")
    assert card(oda).word == "open and empty"


def test_a_charge_that_should_be_inside_already_is_not(oda: Client) -> None:
    ChargeFactory(begin_at=NOW - hours(200), days=5, basis="done")
    ChargeFactory(begin_at=NOW - hours(2), days=5, basis="planned")
    found = card(oda)
    assert found.word == "open and empty"
    assert found.lines[-1].startswith("loading was due ")
    assert found.tags[0].text == "loading is overdue"
    assert oda.get("/kilns/").context["morning"].sentence.startswith("1 chamber is open or will open today.")


def test_a_stopped_kiln_says_why_and_what_it_cost_so_far(oda: Client) -> None:
    ChargeFactory(begin_at=NOW - hours(240), days=5, basis="done", volume_m3=Decimal(60))
    ChargeFactory(begin_at=NOW - hours(120), days=7, basis="running")
    DowntimeFactory(start_at=NOW - hours(48), end_at=None)
    found = card(oda)
    assert found.word == "stopped"
    assert "fan 3 bearing" in found.lines
    # Its one charge took 120 h, a planned one takes (120 + 168) / 2 h; one charge weighs 1 against 3, for the kiln
    # and again for spruce: 48 h x 0.453 m³/h = 21.75 m³.
    planned, own = 60 / 144, 60 / 120
    kiln_rate = 0.25 * own + 0.75 * planned
    assert float(found.now.lost_m3) == pytest.approx(48 * (0.25 * own + 0.75 * kiln_rate), abs=0.01)
    assert found.tags[0].text == "22 m³ lost so far"
    # The phase would have had an end; a kiln that stands has none.
    assert oda.get("/kilns/K1/").context["progress"] == ""


def test_a_planned_stop_no_timber_and_a_slowed_kiln_have_words_of_their_own(oda: Client) -> None:
    DowntimeFactory(kiln=KilnFactory(tag="K1"), kind="planned", start_at=NOW - hours(3), end_at=NOW + hours(9))
    DowntimeFactory(kiln=KilnFactory(tag="K2"), kind="no_timber", start_at=NOW - hours(3), end_at=None)
    ChargeFactory(kiln=KilnFactory(tag="K3"), begin_at=NOW - hours(60), basis="running")
    DowntimeFactory(kiln=KilnFactory(tag="K3"), share_lost=Decimal("0.25"), start_at=NOW - hours(3), end_at=None)
    assert card(oda, "K1").word == "planned stop"
    assert card(oda, "K2").word == "no timber"
    assert "slowed: 75 % of its capacity" in card(oda, "K3").lines


def test_entry_that_is_barred_or_open_stands_on_the_card_and_in_the_sentence(oda: Client) -> None:
    kiln = open_kiln()
    Defect.objects.create(kiln=kiln, found_at=NOW, what="latch sticks", blocks_entry=True, is_safety=True)
    person = PersonFactory()
    EntryPermit.objects.create(
        key=uuid4(),
        kiln=kiln,
        act="opened",
        at=NOW - hours(1),
        locked_out_by=person,
        watch_outside=person,
        temperature_c=20,
        is_escape_door_tried=True,
    )
    page = oda.get("/kilns/")
    assert page.context["morning"].sentence.startswith("Nobody may enter K1. K1 is open for entry, 0 inside.")
    assert [tag.text.split(":")[0][:14] for tag in page.context["morning"].cards[0].tags[:2]] == [
        "no entry",
        "not closed sin",
    ]
    assert "Nobody enters K1: latch sticks" in page.content.decode()


def test_a_barred_kiln_that_waits_for_timber_says_to_find_everybody_first(oda: Client) -> None:
    kiln = KilnFactory()
    Defect.objects.create(kiln=kiln, found_at=NOW, what="latch sticks", blocks_entry=True, is_safety=True)
    words = "do not load or start with anybody near: find everybody first"
    before = [tag.text for tag in card(oda).tags]
    ChargeFactory(kiln=kiln, begin_at=NOW + hours(2), days=5, basis="planned")
    assert words not in before and words in [tag.text for tag in card(oda).tags]
    for path in ("/kilns/", "/kilns/K1/"):
        assert "Do not load or start with anybody near" in oda.get(path).content.decode()


def test_a_barred_kiln_that_dries_is_not_about_to_be_loaded(oda: Client) -> None:
    charge = ChargeFactory(begin_at=NOW - hours(60), days=6, basis="running")
    Defect.objects.create(kiln=charge.kiln, found_at=NOW, what="latch sticks", blocks_entry=True, is_safety=True)
    assert "find everybody" not in oda.get("/kilns/").content.decode()


def test_a_job_in_a_chamber_that_nobody_may_enter_does_not_count_as_fitting(oda: Client) -> None:
    kiln = place(open_kiln(), "Fit a wick").work_order.kiln
    Defect.objects.create(kiln=kiln, found_at=NOW, what="latch sticks", blocks_entry=True, is_safety=True)
    assert (
        oda.get("/kilns/")
        .context["morning"]
        .sentence.endswith("1 job has its place in them, 1 is where nobody may enter.")
    )


def test_the_sentence_names_what_stands_still_and_safety_work_that_comes_too_late(oda: Client) -> None:
    DowntimeFactory(kiln=open_kiln("K2"), start_at=NOW - hours(3), end_at=None)
    late = place(open_kiln(), "Prove the door").work_order
    late.is_safety, late.safety_at = True, NOW
    late.save()
    this_morning = oda.get("/kilns/").context["morning"]
    assert this_morning.sentence.startswith("Safety work on K1 is placed after its date. K2 is stopped.")
    assert this_morning.cards[0].tags[0].text == "safety work placed too late"


def test_the_sentence_counts_openings_jobs_and_parts_that_are_missing(oda: Client) -> None:
    waits = place(open_kiln(), "Fit a wick").work_order
    place(waits.kiln, "Rinse the trough")
    set_aside = reserve(PartFactory(), Decimal(2), NOW.date(), waits.number, "wick", by=None)
    WorkPart.objects.create(work_order=waits, part=set_aside.part, quantity=2, reservation=set_aside)
    late = WorkOrderFactory(kiln=waits.kiln, due_at=NOW, safety_at=NOW - hours(1), is_safety=True)
    assert oda.get("/kilns/").context["morning"].sentence == (
        "1 safety job is overdue. 1 chamber is open or will open today. "
        "2 jobs have their place in them, 1 waits for a part."
    )
    assert late.is_safety


def whole_week(kiln: Kiln) -> None:
    """A job in today's opening, and one tomorrow in the same."""
    place(kiln)
    later = WorkOrderFactory(kiln=kiln, title="Grease the bearings", due_at=NOW + hours(90))
    Placement.objects.create(work_order=later, start_at=NOW + hours(20), end_at=NOW + hours(21))


def barred(kiln: Kiln) -> None:
    Defect.objects.create(kiln=kiln, found_at=NOW, what="latch sticks", blocks_entry=True, is_safety=True)


def open_end(tag: str) -> Kiln:
    """A kiln that opened this morning and has no charge to come."""
    kiln = KilnFactory(tag=tag)
    ChargeFactory(kiln=kiln, begin_at=NOW - hours(123), days=5, basis="done")
    return kiln


@pytest.mark.parametrize("hour", [0, 9, 23])
@pytest.mark.parametrize("makes", [[], [place], [place, place], [whole_week], [whole_week, barred], [place, barred]])
def test_the_head_counts_the_jobs_of_the_lists_below_it(
    oda: Client, monkeypatch: pytest.MonkeyPatch, hour: int, makes: list[Callable[[Kiln], Any]]
) -> None:
    open_today = [open_kiln("K1"), open_end("K2")]
    ChargeFactory(kiln=KilnFactory(tag="K3"), begin_at=NOW - hours(60), days=9, basis="running")
    for make in makes:
        for kiln in open_today:
            make(kiln)
    now = NOW.replace(hour=hour)
    monkeypatch.setattr(clock, "now", lambda: now)

    sentence = oda.get("/kilns/").context["morning"].sentence
    below = [row for kiln in open_today for row in oda.get(f"/kilns/?kiln={kiln.tag}").context["jobs"]]

    assert "2 chambers are open or will open today." in sentence
    assert sum(int(count) for count in re.findall(r"(\d+) jobs? (?:fits?|has|have) ", sentence)) == len(below)
    assert len(below) == 2 * sum({place: 1, whole_week: 1.5, barred: 0}[make] for make in makes) or hour != 9


@pytest.mark.parametrize(
    ("hour", "title"),
    [
        (0, "Tonight"),
        (4, "Tonight"),
        (5, "This morning"),
        (12, "This afternoon"),
        (17, "This evening"),
        (22, "Tonight"),
    ],
)
def test_the_head_is_titled_for_the_hour_at_the_mill(
    oda: Client, monkeypatch: pytest.MonkeyPatch, hour: int, title: str
) -> None:
    local = NOW.astimezone(MillFactory().zone).replace(hour=hour)
    monkeypatch.setattr(clock, "now", lambda: local)
    assert f"<h1>{title}</h1>" in re.sub(r"<h1[^>]*>\s*", "<h1>", oda.get("/kilns/").content.decode())


def test_the_chosen_kiln_has_work_in_its_opening_or_opens_next_unless_another_is_asked_for(oda: Client) -> None:
    ChargeFactory(kiln=KilnFactory(tag="K1"), begin_at=NOW - hours(60), days=9, basis="running")
    ChargeFactory(kiln=KilnFactory(tag="K2"), begin_at=NOW - hours(60), days=4, basis="running")
    assert oda.get("/kilns/").context["chosen"].kiln.tag == "K2"
    assert oda.get("/kilns/?kiln=K1").context["chosen"].kiln.tag == "K1"
    assert oda.get("/kilns/?kiln=K99").context["chosen"].kiln.tag == "K2"
    place(open_kiln("K3"))
    open_kiln("K4")
    assert oda.get("/kilns/").context["chosen"].kiln.tag == "K3"


def test_the_opening_holds_its_jobs_with_place_reason_and_people(oda: Client) -> None:
    kiln = open_kiln()
    component = ComponentFactory(kiln=kiln)
    job = place(kiln, component=component)
    job.work_order.assignments.create(person=PersonFactory(code="per"))
    place(kiln, "Done long ago", state="done")
    page = oda.get("/kilns/?kiln=K1", headers={"HX-Request": "true"}).content.decode()
    for part in ("Free the flap linkage", "fan 3", "only now open", "1.5", "Per", job.work_order.get_absolute_url()):
        assert part in page
    assert "Done long ago" not in page
    assert "<html" not in page
    back = oda.get("/kilns/?kiln=K1", headers={"HX-Request": "true", "HX-History-Restore-Request": "true"})
    assert "<html" in back.content.decode()
    assert "HX-Request" in back["Vary"]


def finding(kiln: Kiln, number: int, result: str, at: Any, check: FunctionCheck, **kwargs: Any) -> Finding:
    kind = ComponentKindFactory(code=f"kind-{number}", end_view_no=number)
    point, _ = CheckPoint.objects.get_or_create(
        code=f"point-{number}",
        defaults={"kind": kind, "end_view_no": number, "what": f"point {number}", "seen_in": "either"},
    )
    item, _ = CheckItem.objects.get_or_create(check_up=check, point=point)
    sitting, _ = Sitting.objects.get_or_create(
        check_up=check, kiln_state="open_empty", defaults={"started_at": NOW - hours(9)}
    )
    return Finding.objects.create(key=uuid4(), item=item, sitting=sitting, result=result, at=at, **kwargs)


def test_the_marks_show_the_heaviest_of_defects_findings_and_due_work() -> None:
    kiln = open_kiln()
    check = FunctionCheck.objects.create(number="FC-1", kiln=kiln, started_at=NOW - hours(9))
    finding(kiln, 1, "not_seen", NOW - hours(8), check, reason="clad")
    finding(kiln, 7, "worn", NOW - hours(8), check)
    finding(kiln, 7, "sound", NOW - hours(7), check)
    mended = finding(kiln, 4, "defect", NOW - hours(8), check)
    Defect.objects.create(kiln=kiln, finding=mended, found_at=NOW, what="sticks", cured_at=NOW)
    door = ComponentFactory(kiln=kiln, tag="door", kind=ComponentKindFactory(code="door", end_view_no=2), name="door")
    Defect.objects.create(kiln=kiln, component=door, found_at=NOW, what="seal torn")
    WorkOrderFactory(kiln=kiln, component=door, due_at=NOW)
    WorkOrderFactory(kiln=kiln, component=ComponentFactory(kiln=kiln), title="Grease", due_at=NOW + hours(30))
    marks = marks_of(kiln, NOW)
    assert {number: mark["state"] for number, mark in marks.items()} == {
        1: "not_seen",
        2: "defect",
        4: "sound",
        5: "open",
        7: "sound",
    }
    assert marks[2]["label"] == "door: seal torn"
    assert marks[5]["label"] == "due: Grease"


def test_the_worst_of_its_points_speaks_for_a_component(oda: Client) -> None:
    kiln = open_kiln()
    fan = ComponentFactory(kiln=kiln)
    check = FunctionCheck.objects.create(number="FC-1", kiln=kiln, started_at=NOW - hours(9))
    for number, result, ago in ((5, "worn", 8), (6, "sound", 7)):
        found = finding(kiln, number, "sound", NOW - hours(9), check)
        item = CheckItem.objects.create(check_up=check, point=found.item.point, component=fan)
        Finding.objects.create(
            key=uuid4(), item=item, sitting=found.sitting, result=result, at=NOW - hours(ago), note="hums"
        )
    ComponentFactory(kiln=kiln, tag="fan-4", name="fan 4")
    (fans,) = oda.get("/kilns/K1/").context["noted_groups"]
    assert fans.noted_rows[0].finding.result == "worn"
    assert fans.mark["label"] == "fan 3: hums"
    assert [row.component.name for row in fans.other_rows] == ["fan 4"]


def queries_of(act: Callable[[], Any]) -> int:
    with CaptureQueriesContext(connection) as caught:
        act()
    return len(caught)


def fill(tags: list[str]) -> None:
    for tag in tags:
        kiln = open_kiln(tag)
        DowntimeFactory(kiln=kiln, start_at=NOW - hours(1), end_at=None)
        component = ComponentFactory(kiln=kiln, tag=f"fan-{tag}")
        Defect.objects.create(kiln=kiln, component=component, found_at=NOW, what="loose")
        for number in range(3):
            place(kiln, f"job {number}", component=component).work_order.assignments.create(
                person=PersonFactory(code=f"p{number}")
            )


@pytest.mark.parametrize("url", ["/kilns/?kiln=K1", "/kilns/K1/"])
def test_a_page_takes_the_same_number_of_queries_however_much_there_is(oda: Client, url: str) -> None:
    fill(["K1"])
    # The first look of a day is noted in the session.
    oda.get(url)
    few = queries_of(lambda: oda.get(url))
    fill([f"K{n}" for n in range(2, 12)])
    for number in range(30):
        place(Kiln.objects.get(tag="K1"), f"more {number}")
        DowntimeFactory(kiln=Kiln.objects.get(tag="K1"), start_at=NOW - hours(500 + number), cause="belt")
    assert queries_of(lambda: oda.get(url)) == few


def test_the_page_of_a_kiln_shows_what_belongs_to_it(oda: Client) -> None:
    kiln = open_kiln()
    component = ComponentFactory(kiln=kiln)
    component.fittings.create(part_code="bearing-6308", fitted_at=NOW - hours(2000))
    Defect.objects.create(kiln=kiln, component=component, found_at=NOW, what="bearing hums")
    DowntimeFactory(kiln=kiln, start_at=NOW - hours(300), cause="belt slipped")
    page = oda.get("/kilns/K1/").content.decode()
    for part in ("bearing-6308", "bearing hums", "belt slipped", "pine 38 mm", "Report downtime", "no charge planned"):
        assert part in page, part


def test_a_kilns_charges_are_drawn_about_now_and_the_rest_is_folded_away(oda: Client) -> None:
    kiln = KilnFactory()
    for number, days in enumerate((-40, -30, -20, -10)):
        ChargeFactory(kiln=kiln, number=f"was-{number}", begin_at=NOW + timedelta(days=days), days=6, basis="done")
    ChargeFactory(kiln=kiln, number="inside", begin_at=NOW - hours(60), days=6, basis="running")
    for number, days in enumerate((5, 15, 25, 35)):
        ChargeFactory(kiln=kiln, number=f"next-{number}", begin_at=NOW + timedelta(days=days), days=6, basis="planned")
    picture = oda.get("/kilns/K1/").context["picture"]
    shown = [(strip.charge.number, strip.is_inside) for strip in picture.strips]
    names = ["was-2", "was-3", "inside", "next-0", "next-1", "next-2"]
    assert shown == [(name, name == "inside") for name in names]
    assert [charge.number for charge in picture.others] == ["was-0", "was-1", "next-3"]
    # The axis runs from 20 days back to the end of the sixth day after the 25th to come.
    assert picture.now_left == pytest.approx(20 / 51 * 100, abs=0.01)
    for strip in picture.strips:
        assert all(0 <= piece.left <= 100 for piece in strip.pieces)
        assert [piece.left for piece in strip.pieces] == sorted(piece.left for piece in strip.pieces)


def test_a_charge_without_phases_is_drawn_as_one_piece(oda: Client) -> None:
    charge = ChargeFactory(begin_at=NOW - hours(60), days=6, basis="running")
    charge.phases.all().delete()
    answer = oda.get("/kilns/K1/")
    (piece,) = answer.context["picture"].strips[0].pieces
    assert (piece.left, piece.width, piece.kind) == (0, 100, "")
    assert "phases not on record" in answer.content.decode()


def test_downtime_is_told_in_a_sentence_and_only_the_last_five_records_stand_open(oda: Client) -> None:
    kiln = open_kiln()
    for number in range(7):
        start_at = NOW - timedelta(days=10 * number + 10)
        DowntimeFactory(kiln=kiln, start_at=start_at, end_at=start_at + hours(2), cause=f"belt {number}")
    answer = oda.get("/kilns/K1/")
    assert [record.cause for record in answer.context["latest_downtimes"]] == [f"belt {number}" for number in range(5)]
    assert [record.cause for record in answer.context["older_downtimes"]] == ["belt 5", "belt 6"]
    year = answer.context["year"]
    # The kiln's records begin with its first charge or stop: all seven count.
    assert (year.failure_figures.failures, year.hours.stopped) == (7, Decimal(14))
    page = " ".join(answer.content.decode().split())
    assert "7 failures: 14 h stopped" in page
    assert "were not dried for it" in page


def test_a_kiln_without_components_is_explained(oda: Client) -> None:
    open_kiln()
    page = oda.get("/kilns/K1/").content.decode()
    assert "No component of this kiln is on record" in page
    assert "components.csv" in page


def particulars(client: Client, **changed: Any) -> dict[str, Any]:
    form = client.get("/kilns/K1/particulars/").context["form"]
    told = {name: field.initial if name == "seen" else form.initial[name] for name, field in form.fields.items()}
    return {name: value for name, value in {**told, **changed}.items() if value not in (None, False)}


def test_particulars_are_changed_and_the_history_keeps_the_former(oda: Client) -> None:
    KilnFactory()
    assert oda.post("/kilns/K1/particulars/", particulars(oda, humidifying="none", usable_m3="72.5")).status_code == 302
    entry = Change.objects.about(Kiln.objects.get()).get()
    assert entry.before == {"usable_m3": "60.000", "humidifying": "water_spray"}
    assert entry.after == {"usable_m3": "72.500", "humidifying": "none"}


def test_particulars_over_somebody_elses_are_noticed(oda: Client) -> None:
    KilnFactory()
    mine = particulars(oda, name="north kiln")
    Kiln.objects.update(usable_m3=80)
    page = oda.post("/kilns/K1/particulars/", mine).content.decode()
    assert "changed this meanwhile" in page
    assert 'value="north kiln"' in page
    assert Kiln.objects.get().name == ""


def test_wrong_particulars_are_refused(oda: Client) -> None:
    KilnFactory()
    answer = oda.post("/kilns/K1/particulars/", particulars(oda, usable_m3="0", max_people_inside="0"))
    assert answer.status_code == 200
    assert set(answer.context["form"].errors) == {"max_people_inside", "usable_m3"}
    assert Kiln.objects.get().usable_m3 == 60


def test_only_who_may_edit_kilns_sees_the_form(client: Client) -> None:
    KilnFactory()
    client.force_login(UserFactory(username="per", role="technician"), backend=BACKEND)
    assert client.get("/kilns/K1/particulars/").status_code == 403
    assert "Change particulars" not in client.get("/kilns/K1/").content.decode()


def test_downtime_that_lies_ahead_stands_under_a_heading_of_its_own(oda: Client) -> None:
    kiln = open_kiln()
    DowntimeFactory(kiln=kiln, kind="planned", cause="new door", start_at=NOW + hours(50), end_at=NOW + hours(60))
    DowntimeFactory(kiln=kiln, kind="unplanned", cause="belt", start_at=NOW - hours(50), end_at=NOW - hours(40))
    answer = oda.get("/kilns/K1/")
    assert [record.cause for record in answer.context["downtimes_ahead"]] == ["new door"]
    assert [record.cause for record in answer.context["latest_downtimes"]] == ["belt"]
    shown = answer.content.decode()
    assert (
        shown.index("belt")
        < shown.index("<h3>Planned ahead</h3>")
        < shown.index("new door", shown.index("Planned ahead"))
    )
