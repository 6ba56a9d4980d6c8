"""What the queue calls; each is one call of a function that a test can call too. And the ground storey's own tasks."""

from django.utils import timezone

from plant.background import daily, forgetting, heartbeat, running
from plant.background.queueing import enqueue
from plant.background.registry import Progress, looks, register_daily, task
from plant.frame import kept_forms
from plant.models import Kiln, ReadingSource
from plant.readings.charge_signs import TASK as SIGNS_TASK
from plant.readings.charge_signs import notice
from plant.readings.files import uploads
from plant.readings.files.watched_folder import TASK as FOLDER_TASK
from plant.readings.files.watched_folder import look_at_folders, take_in_folder
from plant.readings.taking_in import SETTLE_TASK, settle


def run(job_id: int) -> None:
    """Do a job."""
    running.run_job(job_id)


def answer_heartbeat() -> None:
    """Answer the watchdog."""
    heartbeat.answer()


def tick() -> None:
    """Want what is due today, and what is looked after at each tick."""
    daily.want_what_is_due()
    daily.want_each_tick()


def look() -> None:
    """Look into the watched folders, and clear away files and typed words that nobody came back to."""
    look_at_folders()
    for looks_at in looks():
        looks_at()
    uploads.forget_old()
    kept_forms.forget_old()


@task("forget old background work")
def forget(progress: Progress, day: str) -> dict[str, int]:
    """Keep the record of background work from growing for ever."""
    return forgetting.forget_old_work(timezone.now())


register_daily("forget old background work", hour=3)


@task(SETTLE_TASK, is_frequent=True)
def settle_readings(progress: Progress, kiln: int) -> dict[str, int]:
    """Settle what came in for a kiln."""
    settled = settle(Kiln.objects.get(pk=kiln), progress=progress)
    if settled is None:
        return {}
    enqueue(SIGNS_TASK, f"{SIGNS_TASK} {kiln} {settled[1]}", {"kiln": kiln})
    return {"from_s": settled[0], "until_s": settled[1]}


@task(SIGNS_TASK, is_frequent=True)
def look_what_happened(progress: Progress, kiln: int) -> dict[str, int]:
    """Look in a kiln's settled readings for what happened to its charge."""
    return {"signs": len(notice(Kiln.objects.select_related("mill").get(pk=kiln)))}


@task(FOLDER_TASK)
def take_in_files(progress: Progress, source: int) -> dict[str, int]:
    """Take in the whole files that lie in a source's folder."""
    return take_in_folder(ReadingSource.objects.get(pk=source), progress)
