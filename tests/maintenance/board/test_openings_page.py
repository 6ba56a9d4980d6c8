"""The planner's pages: the board, an opening with what fits into it, a place chosen by hand, and who may do what."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from maintenance.board import build_board
from maintenance.board.leaving_out import take_out_of_plan
from maintenance.day.run import run_day
from maintenance.models import EntryMove, WorkOrder
from maintenance.plans.by_hand import place_by_hand
from maintenance.plans.placing_all import place_all
from plant.models import Absence, Job, Kiln, Person
from tests.factories import MONDAY, DefectFactory, KilnFactory, MillFactory, UserFactory
from tests.maintenance.mill import a_person, a_user, opened
from tests.maintenance.placing_mill import OPENING_FROM, job, on_shift, programme, standing
from tests.pages import markup

pytestmark = pytest.mark.django_db
NOW = MONDAY + timedelta(hours=1)
AT = OPENING_FROM + timedelta(hours=2)


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)


@pytest.fixture
def planner(client: Client) -> Client:
    client.force_login(UserFactory(role="planner"))
    return client


def _text(response: Any) -> str:
    assert response.status_code == 200, response.status_code
    return markup(response)


def _again(order: WorkOrder) -> WorkOrder:
    return WorkOrder.objects.get(pk=order.pk)


def _opening_url() -> str:
    charge = programme(charges=3)[0]
    return reverse("maintenance:opening", args=["K1", f"after-{charge.pk}"])


# --- the board ------------------------------------------------------------------------------------


def test_before_a_mill_is_loaded_the_page_says_what_to_do(planner: Client) -> None:
    assert "/first-hour/" in _text(planner.get(reverse("maintenance:openings")))


def test_the_lead_says_what_is_placed_waits_and_lies_outside(planner: Client) -> None:
    programme()
    on_shift()
    job()
    job(skills=("steam-fitting",))
    place_all(NOW)
    text = _text(planner.get(reverse("maintenance:openings")))
    assert "1 job placed, 0 waiting for parts, 1 outside any opening." in text
    assert "It needs 1 qualified for steam fitting" in text


def test_what_is_unsafe_comes_first(planner: Client) -> None:
    programme()
    on_shift()
    order = job(is_safety=True, safety_at=NOW + timedelta(days=1))
    text = _text(planner.get(reverse("maintenance:openings")))
    assert "1 safety matter needs you now." in text
    assert f"{order.number}</a> K1: Free the flap linkage has no place before its safety date, 3 Mar 2026." in text


def test_the_list_by_day_says_who_is_inside_as_the_board_does(planner: Client) -> None:
    programme()
    on_shift()
    job(needs_state="any")
    place_all(NOW)
    permit = opened(Kiln.objects.get(tag="K1"), a_user("technician", "tom"))
    EntryMove.objects.create(key=uuid4(), permit=permit, act="in", person=a_person("una"), at=NOW)
    by_day = _text(planner.get(reverse("maintenance:openings"))).partition("Placed, day by day")[2]
    assert "1 inside" in by_day


def test_jobs_in_a_barred_chamber_are_marked_but_for_the_one_that_mends_it(planner: Client) -> None:
    url = _opening_url()
    on_shift()
    waits, mends = job(), job(defect=DefectFactory(what="latch sticks", blocks_entry=True))
    outside = job(needs_state="any")
    place_all(NOW)
    board = planner.get(reverse("maintenance:openings")).context["board"]
    assert board.barred == {waits.number}
    assert any("nobody may enter" in piece.words for piece in board.rows[0].gaps)
    text = _text(planner.get(reverse("maintenance:openings")))
    assert "Nobody may enter K1: 1 job that is placed inside waits until the bar is lifted." in text
    assert text.count('tag-alarm">nobody may enter') == 1
    shown = planner.get(url)
    assert shown.context["barred"] == {waits.number}
    assert "latch sticks" in _text(shown) and "Only the job that mends or proves it" in _text(shown)
    assert mends.number in _text(shown) and outside.number not in shown.context["barred"]


def test_the_board_holds_charges_openings_and_crew_hours() -> None:
    charge, _next = programme()
    on_shift()
    order = job()
    place_all(NOW)
    board = build_board(MONDAY.date(), 28, NOW)
    (row,) = board.rows
    assert [kind for kind, _path in row.paths] == ["loading", "heating_up", "drying", "conditioning", "cooling"]
    (gap, *_more) = row.gaps
    assert (gap.kind, gap.label, gap.key) == ("jobs", order.number, f"after-{charge.pk}")
    # Four days and seven hours of twenty-eight days, of which the last lacks an hour
    assert abs(float(gap.left) - 100 * (4 * 24 + 7) / (28 * 24 - 1)) < 0.01
    friday = board.days[4]
    assert (friday.work_h, friday.capacity_h, friday.is_over) == (1.5, 8.0, False)
    assert [found.number for found in friday.jobs] == [order.number]


def test_more_work_than_crew_is_marked() -> None:
    programme()
    oda, order = on_shift(), job()
    place_by_hand(order, AT, [oda], by=None)
    Absence.objects.create(person=oda, start_at=MONDAY, end_at=MONDAY + timedelta(days=60))
    assert build_board(MONDAY.date(), 7, NOW).days[4].is_over


@pytest.mark.parametrize(
    "query",
    [
        "?weeks=1",
        "?weeks=8&start=2026-03-09",
        "?weeks=seven",
        "?start=soon",
        "?start=0001-01-01",
        "?weeks=8&start=9999-12-31",
        "?start=2100-01-01",
        "?page=99",
    ],
)
def test_any_range_can_be_looked_at_and_nonsense_falls_back(planner: Client, query: str) -> None:
    programme()
    assert "K1" in _text(planner.get(reverse("maintenance:openings") + query))


def test_the_day_list_says_the_same_in_words(planner: Client) -> None:
    programme()
    oda = on_shift()
    order = job()
    place_by_hand(order, AT, [oda], by=None)
    text = _text(planner.get(reverse("maintenance:openings")))
    assert "Friday 6 March" in text
    assert "keeps its place" in text


def test_the_page_asks_as_much_for_many_jobs_as_for_few(
    planner: Client, django_assert_num_queries: Any, django_assert_max_num_queries: Any
) -> None:
    programme(charges=4)
    on_shift()
    job()
    place_all(NOW)
    url = reverse("maintenance:openings")
    planner.get(url)
    with django_assert_max_num_queries(40) as few:
        planner.get(url)
    asked = len(few)
    for n in range(12):
        job(kiln=KilnFactory(tag=f"K{n % 4 + 1}"))
    place_all(NOW)
    # The first look after a change holds all places against the record, and is kept.
    planner.get(url)
    with django_assert_num_queries(asked):
        planner.get(url)


# --- one opening ----------------------------------------------------------------------------------


def test_an_opening_asks_as_much_for_many_jobs_as_for_few(
    planner: Client, django_assert_max_num_queries: Any, django_assert_num_queries: Any
) -> None:
    url = _opening_url()
    on_shift()
    oda = UserFactory(role="planner", username="vera")

    def more(count: int) -> None:
        """Jobs that fit, that nobody can do, and that are left out by hand."""
        for _n in range(count):
            job(), job(skills=("steam-fitting",))
            take_out_of_plan(job(), why="Not this month.", not_before_on=None, by=oda)

    more(1)
    planner.get(url)
    with django_assert_max_num_queries(40) as few:
        planner.get(url)
    asked = len(few)
    more(4)
    # The first look after a change holds all places against the record, and is kept.
    planner.get(url)
    with django_assert_num_queries(asked):
        shown = planner.get(url)
    assert len(shown.context["offers"]) == 15


def test_an_opening_proposes_start_and_crew_and_one_press_places_the_job(planner: Client) -> None:
    url = _opening_url()
    oda, order = on_shift(), job()
    text = _text(planner.get(url))
    assert "Put it here" in text
    assert "with Oda" in text
    answer = planner.post(
        reverse("maintenance:put-here", args=[order.number]),
        {
            "start_at": (OPENING_FROM + timedelta(minutes=60)).isoformat(),
            "people": [oda.pk],
            "version": order.version,
            "back": url.removeprefix("/openings/").strip("/"),
        },
        follow=True,
    )
    assert f"{order.number} has its place and keeps it." in _text(answer)
    assert answer.redirect_chain[-1][0] == url
    placed = _again(order).placement
    assert placed.is_pinned
    assert placed.start_at == OPENING_FROM + timedelta(minutes=60)


def test_an_opening_says_why_a_job_does_not_fit(planner: Client) -> None:
    url = _opening_url()
    on_shift()
    job(hours=30)
    assert "It takes 30 h, longer than any shift with its overtime" in _text(planner.get(url))


def test_an_opening_loads_into_the_board_as_a_part_of_the_page(planner: Client) -> None:
    text = _text(planner.get(_opening_url(), headers={"HX-Request": "true"}))
    assert "<html" not in text
    assert "Nothing is placed here." in text


def test_an_opening_that_is_over_is_not_found(planner: Client) -> None:
    programme()
    assert planner.get(reverse("maintenance:opening", args=["K1", "after-999"])).status_code == 404


def test_work_while_running_is_placed_from_its_charge(planner: Client) -> None:
    charge = programme()[0]
    on_shift()
    order = job(needs_state="running")
    text = _text(planner.get(reverse("maintenance:opening", args=["K1", f"during-{charge.pk}"])))
    assert order.number in text


def test_a_technician_sees_an_opening_without_the_buttons(client: Client) -> None:
    client.force_login(UserFactory(role="technician"))
    url = _opening_url()
    job()
    text = _text(client.get(url))
    assert "Put it here" not in text


# --- a place by hand ------------------------------------------------------------------------------


def _post(planner: Client, order: WorkOrder, people: list[Person], at: str = "2026-03-06T10:00", **more: Any) -> Any:
    return planner.post(
        reverse("maintenance:place-work", args=[order.number]),
        {"start_at": at, "people": [person.pk for person in people], "version": order.version, **more},
        headers={"HX-Request": "true"} if more.get("check") == "htmx" else {},
    )


def test_the_planner_types_start_and_people(planner: Client) -> None:
    programme()
    oda, order = on_shift(), job()
    assert "Where it would fit" in _text(planner.get(reverse("maintenance:place-work", args=[order.number])))
    assert _post(planner, order, [oda]).status_code == 302
    # Ten o'clock at the mill
    assert _again(order).placement.start_at == MONDAY + timedelta(days=4, hours=3)


def test_a_broken_rule_is_said_and_what_was_typed_stays(planner: Client) -> None:
    programme()
    oda, order = on_shift(), job()
    text = _text(_post(planner, order, [oda], at="2026-03-04T10:00"))
    assert "K1 is not open and empty from Wed 4 Mar, 10:00 to Wed 4 Mar, 11:30" in text
    assert 'value="2026-03-04T10:00"' in text
    assert not hasattr(_again(order), "placement")


def test_what_a_place_would_break_can_be_asked_without_placing(planner: Client) -> None:
    programme()
    oda, order = on_shift(), job()
    assert "It fits: Fri 6 Mar 10:00" in _text(_post(planner, order, [oda], check="htmx"))
    said = _text(_post(planner, order, [oda], at="2026-03-06T20:00", check="htmx"))
    assert "Oda is not on shift from Fri 6 Mar, 20:00 to Fri 6 Mar, 21:30, overtime included." in said
    assert not hasattr(_again(order), "placement")


def test_nobody_chosen_and_a_bad_date_are_said(planner: Client) -> None:
    programme()
    order = job()
    text = _text(_post(planner, order, [], at="tomorrow"))
    assert "Choose who does it" in text


def test_a_year_that_slipped_is_said(planner: Client) -> None:
    programme()
    oda, order = on_shift(), job()
    assert "The year 9999 cannot be meant" in _text(_post(planner, order, [oda], at="9999-12-31T23:59"))


def test_a_stale_form_loses_nothing_and_says_so(planner: Client) -> None:
    programme()
    oda, order = on_shift(), job()
    place_by_hand(order, AT, [oda], by=None)
    text = _text(_post(planner, order, [oda]))
    assert "changed this meanwhile" in text


@pytest.mark.parametrize("start_at", ["x", "9999-12-31T23:59+00:00", "2026-03-06T10:00"])
def test_a_broken_proposal_leads_to_the_form(planner: Client, start_at: str) -> None:
    programme()
    order, said = job(), {"start_at": start_at, "version": "0"}
    answer = planner.post(reverse("maintenance:put-here", args=[order.number]), said, follow=True)
    assert "could not be read" in _text(answer)


def test_keep_let_move_and_take_out(planner: Client) -> None:
    programme()
    on_shift()
    order = job()
    place_all(NOW)
    planner.post(reverse("maintenance:keep-place", args=[order.number]))
    assert _again(order).placement.is_pinned
    planner.post(reverse("maintenance:let-move", args=[order.number]))
    assert not _again(order).placement.is_pinned
    url, said = reverse("maintenance:take-out", args=[order.number]), {"why": "the fitter is away", "back": ""}
    assert "Why it is left out of the plan" in _text(planner.get(url))
    assert "This field is required" in _text(planner.post(url, {"version": _again(order).version}))
    planner.post(url, {**said, "version": _again(order).version})
    assert not hasattr(_again(order), "placement")
    run_day()
    text = _text(planner.get(reverse("maintenance:openings")))
    assert "until it is put back: the fitter is away." in text
    page = reverse("maintenance:work-order", args=[order.number])
    assert "Put it back into the plan" in _text(planner.get(page))
    assert "changed this meanwhile" in _text(planner.post(url, {**said, "version": 0}))
    planner.post(reverse("maintenance:put-back", args=[order.number]))
    run_day()
    assert hasattr(_again(order), "placement")


def test_whoever_would_move_what_keeps_its_place_lets_it_move_from_there(planner: Client) -> None:
    programme()
    on_shift()
    order = job()
    place_all(NOW)
    planner.post(reverse("maintenance:keep-place", args=[order.number]))
    page = reverse("maintenance:place-work", args=[order.number])
    shown = planner.get(page)
    assert shown.context["is_kept"] and not shown.context["offers"]
    address = reverse("maintenance:let-move", args=[order.number])
    assert f'action="{address}"' in _text(shown)
    answer = planner.post(address, {"choose": "yes"}, follow=True)
    assert answer.redirect_chain[-1][0] == page
    assert answer.context["fits"]


def test_safety_work_cannot_be_left_out_past_its_date_on_the_page(planner: Client) -> None:
    programme()
    order = job(is_safety=True, safety_at=MONDAY + timedelta(days=9))
    said = {"why": "later", "back": "", "version": 0, "not_before_on": "2026-05-01"}
    text = _text(planner.post(reverse("maintenance:take-out", args=[order.number]), said))
    assert "it cannot be left out past that" in text
    assert 'value="2026-05-01"' in text


def test_work_under_way_cannot_be_placed_anew(planner: Client) -> None:
    programme()
    order = job(state="under_way")
    assert planner.get(reverse("maintenance:place-work", args=[order.number])).status_code == 302


# --- the day --------------------------------------------------------------------------------------


def test_the_day_is_worked_out_again_beside_the_pages(planner: Client) -> None:
    MillFactory()
    standing()
    planner.post(reverse("maintenance:run-the-day"))
    (wanted,) = Job.objects.all()
    assert (wanted.what, wanted.arguments) == ("the day's work", {"day": "2026-03-02"})
    run_day()
    assert "The day was last worked out Mon 2 Mar" in _text(planner.get(reverse("maintenance:openings")))


def test_times_refused_for_the_same_reason_are_one_line(planner: Client) -> None:
    programme(charges=4)
    on_shift()
    order = job(skills=("steam-fitting",))
    url = reverse("maintenance:place-work", args=[order.number])
    shown = planner.get(url)
    refusals = shown.context["refusals"]
    assert [one.said for one in refusals] == [f"{len(refusals[0].times)} openings"] and len(refusals[0].times) > 2
    text = _text(shown)
    assert "Why it fits nowhere yet" in text and "Where it would fit" not in text
    assert text.count("It needs 1 qualified for steam fitting") == 1
    assert "</strong>, all for the same reason: " in text


def test_a_job_that_fits_is_offered_its_times_alone(planner: Client) -> None:
    programme()
    on_shift()
    shown = planner.get(reverse("maintenance:place-work", args=[job().number]))
    assert shown.context["fits"] and all(one.start_at for one in shown.context["offers"])
    assert "Where it would fit" in _text(shown)


@pytest.mark.parametrize(
    ("name", "role"),
    [("place-work", "technician"), ("put-here", "storekeeper"), ("take-out", "manager"), ("keep-place", "auditor")],
)
def test_only_planner_and_kiln_master_place_work(client: Client, name: str, role: str) -> None:
    programme()
    order = job()
    client.force_login(UserFactory(role=role))
    assert client.post(reverse(f"maintenance:{name}", args=[order.number])).status_code == 403


def test_the_auditor_may_look_but_not_run_the_day(client: Client) -> None:
    MillFactory()
    client.force_login(UserFactory(role="auditor"))
    assert client.get(reverse("maintenance:openings")).status_code == 200
    assert client.post(reverse("maintenance:run-the-day")).status_code == 403
