"""Placing by the simple rule, and the independent check that no rule is broken."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import islice, pairwise, permutations
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.calculations.placing_problem import (
    JobToPlace,
    Placement,
    PlacingProblem,
    SimplePlan,
    State,
    Window,
    Worker,
)
from maintenance.calculations.placing_rules import broken_rules
from maintenance.calculations.simple_placing import place_jobs

MONDAY = datetime(2026, 3, 2, tzinfo=UTC)
STATES: list[State] = ["empty", "running", "still"]
SKILLS = ("electrical", "lock-out", "mechanical")


def at(hours: float) -> datetime:
    return MONDAY + timedelta(hours=hours)


def window(ref: str, start: float, end: float, state: str = "empty", kiln: str = "K1", **kwargs: int) -> Window:
    return Window(ref, kiln, state, at(start), at(end), **kwargs)  # type: ignore[arg-type]


def job(ref: str, hours: float = 2, state: str = "empty", kiln: str = "K1", **kwargs: object) -> JobToPlace:
    values: dict[str, object] = {"crew": {"mechanical": 1}, "earliest_at": at(0)} | kwargs
    return JobToPlace(ref, kiln, state, round(hours * 60), **values)  # type: ignore[arg-type]


def worker(ref: str, *skills: str, duty: tuple[tuple[float, float], ...] = ((6, 14), (30, 38), (54, 62))) -> Worker:
    shifts = tuple((at(start), at(end)) for start, end in duty)
    return Worker(ref, f"{ref.title()} Moss", dict.fromkeys(skills or ("mechanical",)), shifts)


ADA, BEN = worker("ada"), worker("ben", "mechanical", "electrical")


def solve(
    windows: list[Window], jobs: list[JobToPlace], workers: list[Worker] | None = None, **kwargs: object
) -> SimplePlan:
    people = tuple([ADA] if workers is None else workers)
    problem = PlacingProblem(tuple(windows), tuple(jobs), people, **kwargs)  # type: ignore[arg-type]
    plan = place_jobs(problem)
    assert broken_rules(problem, plan) == ()
    return plan


def starts(plan: SimplePlan) -> dict[str, datetime]:
    return {placement.job_ref: placement.start_at for placement in plan.placements}


def test_a_job_takes_the_first_opening_that_is_long_enough_and_says_why() -> None:
    plan = solve([window("W1", 7, 8), window("W2", 30, 40), window("W3", 54, 70)], [job("J1", due_at=at(104))])
    assert starts(plan) == {"J1": at(30)}
    assert plan.placements[0].people == (("ada", "mechanical"),)
    assert plan.placements[0].reason == (
        "The first opening that takes it, K1 3 Mar 06:00 to 3 Mar 16:00, with Ada Moss on shift and free. "
        "Passed over: 2 Mar 07:00 is too short. Done 3 days before its due date."
    )


def test_only_a_window_of_the_right_state_and_kiln_will_do() -> None:
    windows = [
        window("R", 6, 14, "running"),
        window("S", 6, 14, "still", "K2"),
        window("E", 30, 38),
        window("E2", 6, 9, kiln="K2"),
    ]
    jobs = [job("empty", 1), job("running", 1, "running"), job("still", 1, "still"), job("any", 1, "any")]
    assert starts(solve(windows, jobs, [ADA, BEN, worker("cid")])) == {
        "empty": at(30),
        "running": at(6),
        "still": at(30),
        "any": at(6),
    }


def test_setting_up_and_restoring_are_kept_free() -> None:
    plan = solve([window("W1", 6, 9, set_up_minutes=30, restore_minutes=31), window("W2", 30, 40)], [job("J1")])
    assert starts(plan) == {"J1": at(30)}
    plan = solve([window("W1", 6, 9, set_up_minutes=30, restore_minutes=30)], [job("J1")])
    assert starts(plan) == {"J1": at(6.5)}


def test_parts_and_earliest_time_hold_a_job_back() -> None:
    plan = solve(
        [window("W1", 6, 62)], [job("J1", parts_at=at(31)), job("J2", earliest_at=at(55))], [ADA, worker("bob")]
    )
    assert starts(plan) == {"J1": at(31), "J2": at(55)}


def test_jobs_of_one_opening_follow_each_other_or_run_side_by_side_with_other_people() -> None:
    jobs = [job("J1"), job("J2")]
    assert starts(solve([window("W1", 6, 14)], jobs)) == {"J1": at(6), "J2": at(8)}
    assert starts(solve([window("W1", 6, 14)], jobs, [ADA, BEN])) == {"J1": at(6), "J2": at(6)}


def test_no_more_people_go_inside_than_the_kiln_takes() -> None:
    plan = solve([window("W1", 6, 14, max_people_inside=1)], [job("J1"), job("J2")], [ADA, BEN])
    assert starts(plan) == {"J1": at(6), "J2": at(8)}


def test_a_crew_is_found_even_where_the_first_choice_would_block_it() -> None:
    """Ben alone is an electrician: he must not be used up as the mechanic."""
    both = job("J1", crew={"electrical": 1, "mechanical": 1})
    plan = solve([window("W1", 6, 14)], [both], [BEN, worker("abe", "mechanical", "lock-out", "climbing")])
    assert plan.placements[0].people == (("abe", "mechanical"), ("ben", "electrical"))


def test_nobody_works_while_away_or_off_duty() -> None:
    away = replace(ADA, away=((at(6), at(13)), (at(31), at(32))))
    assert starts(solve([window("W1", 0, 70)], [job("J1", 3)], [away])) == {"J1": at(32)}


def test_a_qualification_must_be_valid_on_the_mills_own_day() -> None:
    lapsing = replace(ADA, skills={"mechanical": date(2026, 3, 2)})
    night = replace(lapsing, duty=((at(22), at(26)),))
    assert starts(solve([window("W1", 6, 14)], [job("J1")], [lapsing])) == {"J1": at(6)}
    assert starts(solve([window("W1", 22, 26)], [job("J1", 2.5)], [night])) == {}
    # 22:00 to 23:30 UTC is the next day already in Riga
    assert starts(solve([window("W1", 22, 26)], [job("J1", 1.5)], [night])) == {"J1": at(22)}
    assert starts(solve([window("W1", 22, 26)], [job("J1", 1.5)], [night], zone="Europe/Riga")) == {}


def test_safety_goes_first_then_the_earliest_due_then_the_dearest_delay() -> None:
    jobs = [
        job("cheap", due_at=at(90), delay_cents_per_hour=5),
        job("dear", due_at=at(90), delay_cents_per_hour=50),
        job("soon", due_at=at(80)),
        job("safe", is_safety=True, safety_at=at(95)),
    ]
    plan = solve([window("W1", 6, 14)], jobs)
    assert starts(plan) == {"safe": at(6), "soon": at(8), "dear": at(10), "cheap": at(12)}


def test_a_job_waits_for_its_forerunner_which_inherits_its_urgency() -> None:
    jobs = [
        job("first", due_at=at(900)),
        job("other", due_at=at(80)),
        job("then", after=("first",), due_at=at(20), crew={}),
    ]
    assert starts(solve([window("W1", 6, 14)], jobs)) == {"first": at(6), "then": at(8), "other": at(8)}


def test_work_that_cannot_meet_its_due_date_is_placed_as_early_as_possible_and_says_how_late() -> None:
    placement = solve([window("W1", 54, 62)], [job("J1", due_at=at(8))]).placements[0]
    assert placement.late_minutes == 48 * 60
    assert placement.reason.endswith("Done 2 days after its due date.")


# --- safety ---------------------------------------------------------------------------------------


def test_a_safety_date_that_no_opening_meets_is_shouted_with_the_nearest_one_held() -> None:
    plan = solve([window("W1", 6, 7), window("W2", 54, 62)], [job("J1", is_safety=True, safety_at=at(20))])
    shout = plan.shouts[0]
    assert (shout.level, shout.late_minutes, shout.nearest and shout.nearest.ref) == ("alarm", 36 * 60, "W2")
    assert starts(plan) == {"J1": at(54)}
    assert "misses its safety date by 36 h" in shout.words
    assert "keep it out of use" in shout.words


def test_safety_work_without_any_place_is_shouted_with_what_would_help() -> None:
    plan = solve([window("W1", 6, 7)], [job("J1", is_safety=True, due_at=at(20))])
    shout = plan.shouts[0]
    assert (shout.late_minutes, shout.nearest and shout.nearest.ref) == (None, "W1")
    assert "the longest has 1 h" in shout.words


def test_safety_work_in_time_is_not_shouted_about() -> None:
    assert solve([window("W1", 6, 14)], [job("J1", safety_at=at(8))]).shouts == ()


# --- not placed -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("windows", "change", "code", "words", "remedy"),
    [
        ([], {}, "no opening", "No opening of K1", "stop the kiln"),
        ([window("W1", 6, 7)], {}, "too short", "it needs 2 h, the longest has 1 h", "split the job"),
        ([window("W1", 6, 14)], {"parts_at": at(13)}, "over too early", "parts arrive on 2 Mar 13:00", "parts forward"),
        ([window("W1", 6, 14)], {"earliest_at": at(13)}, "over too early", "it may start on 2 Mar", "start earlier"),
        ([window("W1", 16, 24)], {}, "no crew free", "without a free crew on shift for 2 h", "Ada Moss"),
        ([window("W1", 6, 14)], {"crew": {"mechanical": 2}}, "qualification", "Needs 2", "Train somebody"),
        ([window("W1", 6, 14, max_people_inside=0)], {}, "too crowded", "too many people inside", "smaller crew"),
        ([window("W1", 6, 14)], {"after": ("J9",)}, "before", "J9, which is not among the jobs", "Undo"),
        ([window("W1", 6, 14)], {"after": ("J1",)}, "circle", "Waits for J1", "Undo"),
    ],
)
def test_a_job_without_a_place_names_cause_and_remedy(
    windows: list[Window], change: dict[str, object], code: str, words: str, remedy: str
) -> None:
    wanted = replace(job("J1"), **change)  # type: ignore[arg-type]
    answer = solve(windows, [wanted]).not_placed[0]
    assert [cause.code for cause in answer.causes] == [code]
    assert words in answer.causes[0].words
    assert remedy in answer.causes[0].remedy


def test_a_lapsed_qualification_is_named_with_its_last_day() -> None:
    lapsed = replace(ADA, skills={"mechanical": date(2026, 2, 27)})
    cause = solve([window("W1", 6, 14)], [job("J1")], [lapsed]).not_placed[0].causes[0]
    assert cause.words == (
        "Needs 1 qualified for mechanical; from 2 Mar 2026 on, when it may start, 0 are; "
        "Ada Moss's lasts until 27 Feb 2026."
    )
    assert cause.remedy == "Renew the qualification of Ada Moss."


def test_a_job_longer_than_every_shift_says_so() -> None:
    (cause,) = solve([window("W1", 6, 40)], [job("J1", hours=14)]).not_placed[0].causes
    assert "It needs 14 h without a break" in cause.words
    assert "several jobs" in cause.remedy


@pytest.mark.parametrize(
    ("due_at", "words"),
    [(at(8), "Done on its due date."), (at(23), "Done on its due date."), (at(30), "Done 1 day before its due date.")],
)
def test_a_reason_counts_in_days_of_the_calendar(due_at: datetime, words: str) -> None:
    assert solve([window("W1", 6, 14)], [job("J1", due_at=due_at)]).placements[0].reason.endswith(words)


def test_the_nearest_window_is_the_one_that_fails_for_the_least() -> None:
    windows = [window("short", 6, 7), window("night", 16, 24), window("longer", 30, 31.5)]
    answer = solve(windows, [job("J1")]).not_placed[0]
    assert answer.nearest is not None
    assert answer.nearest.ref == "night"


def test_what_waits_for_a_job_without_a_place_has_none_either() -> None:
    plan = solve([window("W1", 6, 14)], [job("J1", 20), job("J2", after=("J1",))])
    assert [answer.job_ref for answer in plan.not_placed] == ["J1", "J2"]


# --- places to keep -------------------------------------------------------------------------------


def test_a_place_that_still_holds_is_kept_though_an_earlier_one_is_free() -> None:
    kept = Placement("J1", at(31), at(33), "W2", (("ben", "mechanical"),), "The planner's wish.")
    windows = [window("W1", 6, 14), window("W2", 30, 38)]
    plan = solve(windows, [job("J1"), job("J2")], [ADA, BEN], fixed=(kept,))
    assert kept in plan.placements


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"parts_at": at(33)}, "its parts come later"),
        ({"duration_minutes": 150}, "lasts longer or shorter"),
        ({"crew": {"electrical": 1}}, "needs another crew"),
        ({"safety_at": at(32)}, "misses the safety date"),
        ({"needs_state": "running"}, "the opening is gone"),
    ],
)
def test_a_place_that_no_longer_holds_is_given_up_and_the_reason_says_why(
    change: dict[str, object], words: str
) -> None:
    kept = Placement("J1", at(31), at(33), "W2", (("ada", "mechanical"),))
    windows = [window("W1", 6, 14), window("W2", 30, 38), window("R", 34, 38, "running")]
    changed = replace(job("J1"), **change)  # type: ignore[arg-type]
    placement = solve(windows, [changed], [ADA, BEN], fixed=(kept,)).placements[0]
    assert placement.reason.startswith("Moved from 3 Mar 07:00: ")
    assert words in placement.reason


def test_of_two_places_with_one_person_at_one_time_only_one_is_kept() -> None:
    kept = [Placement(ref, at(31), at(33), "W1", (("ada", "mechanical"),)) for ref in ("J1", "J2")]
    plan = solve([window("W1", 30, 38)], [job("J1"), job("J2")], fixed=tuple(kept))
    assert starts(plan) == {"J1": at(31), "J2": at(33)}
    assert "Ada Moss is not free then" in plan.placements[1].reason


# --- refusals -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("problem", "message"),
    [
        (PlacingProblem((), (job("J1"), job("J1")), ()), "job 'J1' is there twice"),
        (PlacingProblem((window("W1", 8, 7),), (), ()), "window W1 ends at .* it must end later"),
        (PlacingProblem((), (job("J1", 0),), ()), "job J1: 0 minutes"),
        (PlacingProblem((), (job("J1", state="wet"),), ()), "state 'wet' is not empty"),
        (PlacingProblem((), (job("J1", earliest_at=datetime(2026, 3, 2)),), ()), "job J1: .* is not in UTC"),
        (PlacingProblem((), (), (), (Placement("J9", at(1), at(2), "", ()),)), "job J9: no such job"),
    ],
)
def test_a_problem_without_sense_is_refused_by_name(problem: PlacingProblem, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        place_jobs(problem)


# --- the checker ----------------------------------------------------------------------------------


def sound_problem() -> PlacingProblem:
    jobs = (
        job("J1", crew={"mechanical": 1, "electrical": 1}, parts_at=at(6), due_at=at(90)),
        job("J2", after=("J1",), safety_at=at(60)),
        job("J3", state="running", kiln="K2"),
    )
    windows = (
        window("W1", 5, 14, set_up_minutes=60, restore_minutes=30),
        window("W2", 30, 38),
        window("R", 30, 90, "running", "K2"),
    )
    return PlacingProblem(windows, jobs, (ADA, BEN, worker("eve", "electrical", duty=((0, 90),))))


@pytest.mark.parametrize(
    ("ref", "change", "words"),
    [
        ("J1", {"start_at": at(5.9), "end_at": at(7.9)}, "before its parts arrive"),
        ("J1", {"end_at": at(7)}, "does not last as long"),
        ("J1", {"window_ref": "W9"}, "names no window"),
        ("J1", {"window_ref": "R"}, "wrong state"),
        ("J1", {"people": (("ada", "mechanical"),)}, "another crew"),
        ("J1", {"people": (("ben", "mechanical"), ("ben", "electrical"))}, "one person twice"),
        ("J1", {"people": (("ada", "electrical"), ("ben", "mechanical"))}, "ada is not qualified"),
        ("J1", {"people": (("ada", "mechanical"), ("zoe", "electrical"))}, "unknown person zoe"),
        ("J1", {"start_at": at(12), "end_at": at(14)}, "no time to make the kiln ready"),
        ("J2", {"start_at": at(7), "end_at": at(9)}, "does not wait for J1"),
        ("J2", {"start_at": at(37), "end_at": at(39), "window_ref": "W2"}, "not on duty throughout"),
        (
            "J3",
            {"people": (("ada", "mechanical"),), "start_at": at(30), "end_at": at(32), "window_ref": "W2"},
            "another kiln",
        ),
    ],
)
def test_the_checker_catches_every_damage_to_a_sound_plan(ref: str, change: dict[str, object], words: str) -> None:
    problem = sound_problem()
    plan = place_jobs(problem)
    assert broken_rules(problem, plan) == ()
    damaged = tuple(replace(p, **change) if p.job_ref == ref else p for p in plan.placements)  # type: ignore[arg-type]
    assert any(words in fault for fault in broken_rules(problem, replace(plan, placements=damaged)))


def test_the_checker_catches_dropped_jobs_crowds_double_bookings_and_silence() -> None:
    problem = sound_problem()
    plan = place_jobs(problem)
    assert "J1: answered 0 times" in broken_rules(problem, replace(plan, placements=plan.placements[1:]))
    assert "J1: answered 2 times" in broken_rules(
        problem, replace(plan, placements=plan.placements + plan.placements[:1])
    )
    crowded = replace(problem, windows=tuple(replace(w, max_people_inside=1) for w in problem.windows))
    assert "J1: 2 people inside, 1 allowed" in broken_rules(crowded, plan)
    late = replace(problem, jobs=tuple(replace(j, safety_at=at(7)) for j in problem.jobs))
    assert "J2: safety work not done in time and nobody is told" in broken_rules(late, plan)
    twice = tuple(replace(p, start_at=at(30), end_at=at(32), people=(("ada", "mechanical"),)) for p in plan.placements)
    assert "ada is in J1 and J2 at once" in broken_rules(problem, replace(plan, placements=twice))
    away = replace(problem, workers=tuple(replace(w, away=((at(0), at(90)),)) for w in problem.workers))
    assert "J2: ada is away" in broken_rules(away, plan)


# --- properties -----------------------------------------------------------------------------------


@st.composite
def intervals(draw: st.DrawFn, most: int, last_hour: int) -> tuple[tuple[datetime, datetime], ...]:
    edges = sorted(draw(st.sets(st.integers(0, last_hour), max_size=2 * most)))
    return tuple((at(a), at(b)) for a, b in list(pairwise(edges))[::2])


@st.composite
def problems(draw: st.DrawFn, last_hour: int = 60, windows_a_kiln: int = 4, people: int = 4) -> PlacingProblem:
    windows = []
    for kiln in ("K1", "K2"):
        for number, (start_at, end_at) in enumerate(draw(intervals(windows_a_kiln, last_hour))):
            state: State = draw(st.sampled_from(STATES))
            inside, set_up, restore = draw(
                st.tuples(st.integers(1, 3), st.sampled_from([0, 30]), st.sampled_from([0, 30]))
            )
            windows.append(Window(f"{kiln}-{number}", kiln, state, start_at, end_at, "", inside, set_up, restore))
    workers = [
        Worker(f"P{n}", f"Person {n}", draw(skills), draw(intervals(4, last_hour)), draw(intervals(1, last_hour)))
        for n in range(draw(st.integers(0, people)))
    ]
    jobs = [draw(random_jobs(n, last_hour)) for n in range(draw(st.integers(1, 7)))]
    return PlacingProblem(
        tuple(windows), tuple(jobs), tuple(workers), zone=draw(st.sampled_from(["UTC", "Asia/Tokyo"]))
    )


skills: st.SearchStrategy[Mapping[str, date | None]] = st.dictionaries(
    st.sampled_from(SKILLS), st.none() | st.sampled_from([date(2026, 3, 2), date(2026, 3, 3)]), max_size=3
)


@st.composite
def random_jobs(draw: st.DrawFn, number: int, last_hour: int) -> JobToPlace:
    hours = st.integers(0, last_hour)
    return JobToPlace(
        ref=f"J{number}",
        kiln=draw(st.sampled_from(["K1", "K2"])),
        needs_state=draw(st.sampled_from(["empty", "running", "still", "any"])),
        duration_minutes=draw(st.sampled_from([30, 90, 240])),
        crew=draw(st.dictionaries(st.sampled_from(SKILLS), st.integers(1, 2), max_size=2)),
        earliest_at=at(draw(st.integers(0, last_hour // 3))),
        parts_at=draw(st.none() | hours.map(at)),
        due_at=draw(st.none() | hours.map(at)),
        safety_at=draw(st.none() | hours.map(at)),
        is_safety=draw(st.booleans()),
        delay_cents_per_hour=draw(st.integers(0, 3)),
        after=tuple(f"J{n}" for n in draw(st.sets(st.integers(0, 7), max_size=1))),
    )


@settings(max_examples=120, deadline=None)
@given(problem=problems())
def test_no_rule_is_ever_broken_and_no_job_is_dropped(problem: PlacingProblem) -> None:
    assert broken_rules(problem, place_jobs(problem)) == ()


@settings(max_examples=40, deadline=None)
@given(problem=problems(), shuffle=st.randoms(use_true_random=False))
def test_the_order_of_the_input_plays_no_part(problem: PlacingProblem, shuffle: Random) -> None:
    mixed = [list(part) for part in (problem.windows, problem.jobs, problem.workers)]
    for part in mixed:
        shuffle.shuffle(part)
    again = replace(problem, windows=tuple(mixed[0]), jobs=tuple(mixed[1]), workers=tuple(mixed[2]))  # type: ignore[arg-type]
    assert place_jobs(again) == place_jobs(problem)


@settings(max_examples=60, deadline=None)
@given(problem=problems(), shuffle=st.integers(0, 5))
def test_a_plan_given_back_as_fixed_is_kept_to_the_letter(problem: PlacingProblem, shuffle: int) -> None:
    plan = place_jobs(problem)
    fixed = plan.placements[shuffle:] + plan.placements[:shuffle]
    again = place_jobs(replace(problem, fixed=fixed))
    assert broken_rules(problem, again) == ()
    late = {shout.job_ref for shout in plan.shouts}
    kept = {(p.job_ref, p.start_at) for p in plan.placements if p.job_ref not in late}
    assert late or kept == {(p.job_ref, p.start_at) for p in again.placements}


@settings(max_examples=40, deadline=None)
@given(problem=problems(last_hour=14, windows_a_kiln=2, people=3))
def test_a_lone_job_starts_at_the_first_moment_at_which_it_can(problem: PlacingProblem) -> None:
    """Compared with every half hour, window and crew, judged by the checker; all input lies on that grid."""
    lone = replace(problem.jobs[0], after=(), is_safety=False, safety_at=None)
    alone = replace(problem, jobs=(lone,))
    found = [placement.start_at for placement in place_jobs(alone).placements]
    slots = [skill for skill, count in lone.crew.items() for _ in range(count)]
    crews = [
        tuple(zip(people, slots, strict=True)) for people in permutations([w.ref for w in alone.workers], len(slots))
    ]
    trials = (
        Placement(lone.ref, start_at, start_at + timedelta(minutes=lone.duration_minutes), ref, crew)
        for start_at in (at(half / 2) for half in range(48))
        for ref in ["", *(w.ref for w in alone.windows)]
        for crew in crews
    )
    sound = (trial.start_at for trial in trials if not broken_rules(alone, SimplePlan((trial,))))
    assert found == list(islice(sound, 1))


def test_eight_weeks_of_twelve_kilns_are_placed_within_a_second() -> None:
    windows = [
        window(
            f"K{k}-{n}",
            96 * n + 7 * k % 96,
            96 * n + 7 * k % 96 + (10 if n % 2 else 84),
            "empty" if n % 2 else "running",
            f"K{k}",
        )
        for k in range(12)
        for n in range(14)
    ]
    days = [tuple((24 * d + start, 24 * d + start + 8) for d in range(56) if d % 7 < 5) for start in (6, 14)]
    people = [worker(f"P{n}", SKILLS[n % 3], SKILLS[(n + 1) % 3], duty=days[n % 2]) for n in range(8)]
    jobs = [
        job(
            f"J{n}",
            1 + n % 4,
            ("empty", "running", "still", "any")[n % 4],
            f"K{n % 12}",
            crew={SKILLS[n % 3]: 1 + n % 2},
            due_at=at(24 * (n % 50)),
        )
        for n in range(250)
    ]
    problem = PlacingProblem(tuple(windows), tuple(jobs), tuple(people))
    plan = place_jobs(problem)
    assert broken_rules(problem, plan) == ()
    assert len(plan.placements) > 200
