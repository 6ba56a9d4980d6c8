"""What the queue calls; each is one call of a function that a test can call too."""

from plant.background import daily, heartbeat, running


def run(job_id: int) -> None:
    """Do a job."""
    running.run_job(job_id)


def answer_heartbeat() -> None:
    """Answer the watchdog."""
    heartbeat.answer()


def tick() -> None:
    """Want what is due today."""
    daily.want_what_is_due()
