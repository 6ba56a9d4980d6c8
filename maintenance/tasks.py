"""Background work of upkeep."""

import json
from dataclasses import asdict
from datetime import date, datetime
from typing import Any

from maintenance.day.run import run_day
from maintenance.demo.filling import FILL_TASK
from maintenance.door.alarms import look_again
from maintenance.loading.bringing import LOOK_TASK as LOOK_AT_FILES_TASK
from maintenance.loading.bringing import TAKE_TASK, take_in
from maintenance.loading.bringing import look as look_at_files
from maintenance.loading.charges_folder import TASK as CHARGES_TASK
from maintenance.loading.charges_folder import look_at_charges_folder, take_in_charges
from maintenance.models import DayRun, Plan, Watch
from maintenance.plans.accepting import PLAN_TASK, want_daily_plan
from maintenance.plans.mending import want_plan_that_mends
from maintenance.plans.places_now import LOOK_AT_PLACES_TASK, look_at_places
from maintenance.plans.working_out import end_given_up, work_out
from maintenance.telling.places_told import TELL_TASK, tell_people
from maintenance.watches.firing import Looked
from maintenance.watches.hearing import LOOK_TASK
from maintenance.watches.looking import look, look_around
from maintenance.watches.trials import TRY_TASK, run_trial
from plant import clock
from plant.background.registry import (
    CannotBeDoneError,
    Progress,
    register_daily,
    register_each_tick,
    register_look,
    task,
)
from plant.basics.sentences import Sentence, typed
from plant.models import Kiln, Mill, User

SILENCE_TASK = "look for silence"
ALARM_TASK = "look at open chambers"
GIVEN_UP_TASK = "end plans that were given up"
MEND_TASK = "want a plan that mends"


@task(DayRun.TASK)
def work_out_day(progress: Progress, day: str) -> dict[str, Any]:
    """Do the day's work, and want a plan for the planner; a second time on the same day changes nothing more."""
    try:
        summary = run_day(date.fromisoformat(day), progress=progress)
    except Mill.DoesNotExist:
        raise CannotBeDoneError(Sentence.of("day.no_mill")) from None
    want_daily_plan(date.fromisoformat(day))
    return asdict(summary)


register_daily(DayRun.TASK, hour=4)


@task(LOOK_TASK, is_frequent=True)
def look_at_readings(progress: Progress, kiln: int, from_s: int, until_s: int) -> dict[str, Any]:
    """Let a kiln's watches look at readings that were settled."""
    return _told(look(Kiln.objects.select_related("mill").get(pk=kiln), from_s, until_s))


@task(SILENCE_TASK)
def look_for_silence(progress: Progress) -> dict[str, Any]:
    """Let watches look at what no reading announces."""
    return _told(look_around())


def _told(looked: Looked) -> dict[str, Any]:
    return {
        "fired": len(looked.fired),
        "ended": looked.ended,
        "work_orders": [order.number for order in looked.work_orders],
    }


register_each_tick(SILENCE_TASK)


@task(ALARM_TASK, is_frequent=True)
def look_at_open_chambers(progress: Progress) -> dict[str, Any]:
    """Look anew at what was reported of chambers that are open for entry."""
    return {"open": look_again()}


register_each_tick(ALARM_TASK)


@task(CHARGES_TASK)
def take_in_charges_of_folder(progress: Progress) -> dict[str, int]:
    """Take in the whole files of charges that lie in the watched folder."""
    return take_in_charges()


register_look(look_at_charges_folder)


@task(TELL_TASK, is_frequent=True)
def tell_of_changed_places(progress: Progress) -> dict[str, Any]:
    """Tell people whose place changed at short notice; a mail that cannot be sent fails the task and stays."""
    return tell_people()


register_each_tick(TELL_TASK)


@task(LOOK_AT_PLACES_TASK, is_frequent=True)
def look_at_all_places(progress: Progress) -> dict[str, Any]:
    """Say of every place on record whether it still holds, for pages that do not wait for it."""
    return {"failing": look_at_places(clock.now())}


@task(TRY_TASK)
def try_watch(progress: Progress, watch: int, days: int, parameters: str) -> dict[str, Any]:
    """Try a watch on the past; nothing is stored but what came of it."""
    try:
        found = Watch.objects.select_related("kiln__mill", "component_kind", "sheet").get(pk=watch)
        return run_trial(found, days, json.loads(parameters), progress)
    except Watch.DoesNotExist:
        raise CannotBeDoneError(Sentence.of("trial.watch_gone")) from None
    except ValueError as refusal:
        raise CannotBeDoneError(typed(str(refusal))) from None


@task(LOOK_AT_FILES_TASK)
def look_at_brought_files(progress: Progress, brought: int, by: int) -> dict[str, Any]:
    """Look at files that somebody brought; nothing of them is kept."""
    look_at_files(brought)
    return {}


@task(TAKE_TASK)
def take_in_brought_files(progress: Progress, brought: int, by: int) -> dict[str, Any]:
    """Take in files that somebody agreed to; a second time does nothing more."""
    return take_in(brought, User.objects.get(pk=by))


@task(PLAN_TASK)
def work_out_plan(progress: Progress, plan: int) -> dict[str, Any]:
    """Work a plan out beside what stands; a second time changes nothing more."""
    try:
        return work_out(plan, progress)
    except Plan.DoesNotExist:
        raise CannotBeDoneError(Sentence.of("plan.gone")) from None
    except Mill.DoesNotExist:
        raise CannotBeDoneError(Sentence.of("day.no_mill")) from None


@task(GIVEN_UP_TASK, is_frequent=True)
def end_plans_given_up(progress: Progress) -> dict[str, Any]:
    """End plans whose worker died once too often, with the best that each has."""
    return {"ended": end_given_up()}


register_each_tick(GIVEN_UP_TASK)


@task(MEND_TASK, is_frequent=True)
def mend_places(progress: Progress) -> dict[str, Any]:
    """Want a plan where jobs lost their place and none that waits gives them another."""
    plan = want_plan_that_mends(clock.now()) if Mill.objects.exists() else None
    return {"plan": plan.pk if plan else None}


register_each_tick(MEND_TASK)


@task(FILL_TASK)
def fill_demo(progress: Progress, day: str, until: str, reading_days: int, plan_seconds: int) -> dict[str, Any]:
    """Bring what the demo's first pages did not wait for; a second time goes on where it was cut off."""
    # Simulated chambers are no part of what a mill's own workers carry.
    from maintenance.demo.rest import bring_rest

    return bring_rest(
        progress,
        date.fromisoformat(day),
        datetime.fromisoformat(until),
        reading_days=reading_days,
        plan_seconds=plan_seconds,
    )
