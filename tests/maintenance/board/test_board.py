"""The board's drawing: blocks in lines, lock-outs, phases of an interrupted charge, hours of the crew."""

from datetime import date, datetime, timedelta
from itertools import combinations
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.board import ZOOMS, build_board
from maintenance.board.crew import OnDuty, by_week, days_of, draw_crew
from maintenance.board.drawing import BLOCK_SHARE, Row, draw_row, in_order
from maintenance.board.of_plan import _phases
from maintenance.board.scale import UNITS, scale_of
from maintenance.board.seen import GapSeen, JobSeen, KilnSeen, StopSeen
from maintenance.models import KilnStop
from maintenance.placing.plan import Stop
from maintenance.placing.problem import Charge
from maintenance.plans.by_hand import place_by_hand
from plant.models import Kiln
from tests.factories import MONDAY
from tests.maintenance.placing_mill import OPENING_FROM, job, on_shift, programme

ZONE = ZoneInfo("Europe/Stockholm")
# A board that begins on the Monday before the clock goes forward, in the night of 29 March 2026.
SPRING = scale_of(date(2026, 3, 23), 14, ZONE)
HOUR = timedelta(hours=1)
NOW = MONDAY + HOUR


def seen_job(start_at: datetime, hours: float = 1, people: tuple[str, ...] = ("Oda",), number: str = "W1") -> JobSeen:
    return JobSeen(number, "Grease", "K1", start_at, start_at + hours * HOUR, people, "any")


def row_of(jobs: list[JobSeen], **more: object) -> Row:
    return draw_row(KilnSeen(Kiln(tag="K1"), jobs=jobs, **more), SPRING)  # type: ignore[arg-type]


# --- scale ----------------------------------------------------------------------------------------


def test_days_of_a_clock_change_are_as_wide_as_they_are_long() -> None:
    widths = [float(day.width) for day in days_of(SPRING, [], [])]
    assert widths[6] == pytest.approx(widths[5] * 23 / 24, abs=0.02)
    assert sum(widths) == pytest.approx(100, abs=0.1)
    assert SPRING.minutes == 14 * 1440 - 60


@given(st.integers(-20 * 1440, 40 * 1440), st.integers(0, 20 * 1440))
def test_whatever_is_drawn_lies_on_the_board(start_min: int, length_min: int) -> None:
    start_at = SPRING.from_at + timedelta(minutes=start_min)
    end_at = start_at + timedelta(minutes=length_min)
    left, width = float(SPRING.left(start_at)), float(SPRING.width(start_at, end_at))
    assert 0 <= left <= 100 and width >= 0 and left + width <= 100.01
    assert (SPRING.boxes([(start_at, end_at)]) == "") == (not SPRING.shows(start_at, end_at))


# --- blocks ---------------------------------------------------------------------------------------


@settings(max_examples=60)
@given(st.lists(st.tuples(st.integers(-60, 15 * 24), st.integers(1, 12)), max_size=25))
def test_blocks_that_would_cover_each_other_lie_in_different_lines(times: list[tuple[int, int]]) -> None:
    jobs = [seen_job(SPRING.from_at + at * HOUR, hours, number=f"W{n}") for n, (at, hours) in enumerate(times)]
    row = row_of(jobs)
    room = BLOCK_SHARE * (SPRING.to_at - SPRING.from_at)
    assert {piece.label for piece in row.jobs} == {one.number for one in jobs if SPRING.shows(one.start_at, one.end_at)}
    for one, other in combinations([piece for piece in row.jobs if piece.job], 2):
        if one.lane == other.lane and one.job and other.job:
            assert abs(one.job.start_at - other.job.start_at) >= room
    assert row.lanes == 1 + max((piece.lane for piece in row.jobs), default=0)


def test_kilns_stand_in_the_order_in_which_people_count() -> None:
    tags = ["K10", "K2", "A 3b", "K1", "A 3a"]
    assert [row.kiln.tag for row in sorted((Row(Kiln(tag=tag)) for tag in tags), key=in_order)] == [
        "A 3a",
        "A 3b",
        "K1",
        "K2",
        "K10",
    ]


def test_far_away_jobs_stand_together_and_free_openings_are_part_of_the_picture() -> None:
    far = scale_of(date(2026, 3, 2), 91, ZONE)
    at = far.from_at + 100 * HOUR
    inside = [JobSeen(f"W{n}", "Seal", "K1", at, at + HOUR, ("Per",), "empty", after_charge_id=7) for n in range(3)]
    running = [JobSeen(f"R{n}", "Look", "K1", at, at + HOUR, (), "running", during_charge_id=8) for n in range(2)]
    gaps = [GapSeen(at - HOUR, at + 9 * HOUR, 7, "after-7"), GapSeen(at + 99 * HOUR, None, 9, "after-9")]
    row = draw_row(KilnSeen(Kiln(tag="K1"), gaps=gaps, jobs=inside + running), far, {"R1"})
    (gap,) = row.gaps
    assert (gap.label, gap.key, gap.find.count("|")) == ("3", "after-7", 2)
    (charge,) = row.running
    assert (charge.label, charge.key, charge.kind) == ("2", "during-8", "differs")
    assert [kind for kind, _path in row.paths] == ["free"]
    assert row.jobs == [] and row.stops == []


def test_a_lock_out_shows_set_up_and_making_ready_as_shares_of_itself() -> None:
    at = SPRING.from_at + 30 * HOUR
    row = row_of([], stops=[StopSeen(at, at + HOUR, at + 3 * HOUR, at + 4 * HOUR, "Per")])
    (stop,) = row.stops
    assert stop.label == f"M0 0h{UNITS // 4}v10H0zM{3 * UNITS // 4} 0H{UNITS}v10H{3 * UNITS // 4}z"
    assert "K1 is to be locked out from Tue 24 Mar 06:00 (Per), work from Tue 24 Mar 07:00" in stop.words


@pytest.mark.django_db
def test_a_lock_out_is_shown_where_work_needs_it_and_named_once_a_plan_names_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)
    charge, _next = programme()
    oda, order = on_shift(), job()
    place_by_hand(order, OPENING_FROM + 3 * HOUR, [oda], by=None)
    KilnStop.objects.all().delete()
    (stop,) = build_board(MONDAY.date(), 7, NOW).rows[0].stops
    assert "nobody is named yet" in stop.words
    KilnStop.objects.create(
        kiln=order.kiln,
        after_charge=charge,
        lock_out_at=OPENING_FROM + HOUR,
        ready_at=OPENING_FROM + 6 * HOUR,
        person=oda,
    )
    (stop,) = build_board(MONDAY.date(), 7, NOW).rows[0].stops
    assert "(Oda)" in stop.words and "ready again Fri 6 Mar 13:00" in stop.words


@pytest.mark.django_db
@pytest.mark.parametrize("days", ZOOMS)
def test_every_zoom_holds_the_opening_the_job_and_the_crew(days: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)
    programme()
    oda, order = on_shift(), job()
    place_by_hand(order, OPENING_FROM + 3 * HOUR, [oda], by=None)
    board = build_board((MONDAY + 4 * 24 * HOUR).date(), days, NOW)
    (row,) = board.rows
    assert [piece.label for piece in row.jobs] == ([order.number] if days <= 14 else [])
    assert row.gaps[0].kind == "jobs"
    assert board.days[0].work_h == 1.5 and len(board.days) == days


# --- a charge that a plan interrupts --------------------------------------------------------------


def test_an_interruption_parts_the_drying_and_heats_up_anew() -> None:
    charge = Charge(0, 60, 120, 1000, 90, 60, 30)
    stop = Stop("K1", None, 0, set_up_start_min=500, end_min=700, shift="S1", person="1")
    phases = list(_phases(charge, 0, stop, reheat_min=45))
    assert phases == [
        ("loading", 0, 60),
        ("heating_up", 60, 180),
        ("drying", 180, 500),
        ("heating_up", 700, 745),
        ("drying", 745, 1425),
        ("conditioning", 1425, 1515),
        ("cooling", 1515, 1575),
        ("unloading", 1575, 1605),
    ]
    # As the checker has it: longer by the stop and the heating up, no more.
    assert phases[-1][2] == charge.length_min + (700 - 500) + 45


# --- hours of the crew ----------------------------------------------------------------------------


@settings(max_examples=60)
@given(st.lists(st.tuples(st.integers(0, 13 * 24), st.integers(1, 30), st.integers(0, 3)), max_size=12))
def test_all_hours_of_the_work_are_on_some_day(jobs: list[tuple[int, int, int]]) -> None:
    placed = [seen_job(SPRING.from_at + at * HOUR, hours, ("Oda", "Per", "Una")[:crew]) for at, hours, crew in jobs]
    expected = sum((min(one.end_at, SPRING.to_at) - one.start_at) / HOUR * max(len(one.people), 1) for one in placed)
    days = days_of(SPRING, placed, [])
    assert sum(day.work_h for day in days) == pytest.approx(expected)
    assert sum(week.work_h for week in by_week(days)) == pytest.approx(expected)
    assert sum(len(day.jobs) for day in days) == len(placed)


def test_the_crew_has_the_hours_of_its_shifts_less_those_it_is_away() -> None:
    shift = (SPRING.from_at + 20 * HOUR, SPRING.from_at + 28 * HOUR)
    days = days_of(SPRING, [], [OnDuty([shift], [(SPRING.from_at + 26 * HOUR, SPRING.from_at + 40 * HOUR)])])
    assert [day.capacity_h for day in days[:3]] == [4, 2, 0]


def test_more_than_the_crew_has_is_drawn_apart() -> None:
    days = days_of(SPRING, [seen_job(SPRING.from_at + 7 * HOUR)], [])
    picture = draw_crew(days)
    assert picture.over and not picture.bars and days[0].is_over


def test_weeks_begin_on_mondays_and_the_first_may_be_short() -> None:
    weeks = by_week(days_of(scale_of(date(2026, 3, 4), 56, ZONE), [], []))
    assert [(week.on, week.last_on) for week in weeks[:2]] == [
        (date(2026, 3, 4), date(2026, 3, 8)),
        (date(2026, 3, 9), date(2026, 3, 15)),
    ]
