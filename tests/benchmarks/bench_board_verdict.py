"""What the server does for a drag on the board of 120 kilns and 2,400 jobs, and for the board of three months."""

import statistics
import time
from datetime import timedelta
from typing import Any

from tests.benchmarks.harness import BenchmarkError, Measured
from tests.benchmarks.own_database import own_database

KILNS, JOBS, PEOPLE = 120, 2_400, 20
DRAGS, REPEATS = 60, 2
#: A drag is answered within so much processor time of the server.
MOST_S = 0.1
#: A page of the board: seconds of the server (a good machine takes 1.5), and bytes before they are compressed.
PAGE_S, PAGE_BYTES = 3.0, 2_000_000
BACKEND = "django.contrib.auth.backends.ModelBackend"


def run() -> list[Measured]:
    """Measure the whole answer: sign-in, form, verdict of the checker, page."""
    with own_database():
        from django.test import Client

        from maintenance.models import WorkOrder
        from tests.benchmarks.grown_mill import fill_board, lay_ground

        ground = lay_ground()
        fill_board(ground, KILNS, JOBS, PEOPLE)
        client = Client()
        client.force_login(ground.user, backend=BACKEND)
        orders = list(WorkOrder.objects.filter(state="placed").select_related("placement").order_by("number"))
        if len(orders) < JOBS * 9 // 10:
            raise BenchmarkError(f"only {len(orders)} of {JOBS} jobs have a place")
        return [*_verdicts(client, orders), *_boards(client)]


def _verdicts(client: Any, orders: list[Any]) -> list[Measured]:
    chosen = orders[:: len(orders) // DRAGS][:DRAGS]
    first_s, _answer = _answered(client, _question(chosen[0], 0))
    taken, fits = [], 0
    for number, order in enumerate(chosen):
        # Some hold, most break a rule, as under a hand that moves about.
        seconds, answer = _answered(client, _question(order, (0, 30, 180, 1440)[number % 4]))
        taken.append(seconds)
        fits += 'data-fits="yes"' in answer
    median_s = statistics.median(taken)
    slow = sorted(taken)[len(taken) * 9 // 10]
    note = f"nine in ten within {slow:.3f} s, {fits} of {len(taken)} hold; the first fills the cache in {first_s:.1f} s"
    name = f"verdict for a drag: {KILNS} kilns, {len(orders):,} placed jobs, processor time against the limit"
    return [_line(name, median_s, MOST_S, "s", note)]


def _question(order: Any, minutes: int) -> str:
    start_at = order.placement.start_at + timedelta(minutes=minutes)
    return f"/openings/verdict/?job={order.number}&start={start_at:%Y-%m-%dT%H:%M:%SZ}"


def _boards(client: Any) -> list[Measured]:
    found = []
    for days in (3, 91):
        address = f"/openings/?days={days}"
        answers = [_answered(client, address) for _ in range(REPEATS)]
        seconds, size = min(taken for taken, _answer in answers), len(answers[0][1].encode())
        name = f"board of {days} days: {KILNS} kilns, processor time against the limit"
        found.append(_line(name, seconds, PAGE_S, "s", f"{size / 1000:,.0f} kB"))
        found.append(_line(f"board of {days} days: size against the limit", size / 1e6, PAGE_BYTES / 1e6, "MB", ""))
    return found


def _answered(client: Any, address: str) -> tuple[float, str]:
    """Ask for a page and return the processor seconds it took, with the answer."""
    start = time.process_time()
    response = client.get(address)
    seconds = time.process_time() - start
    if response.status_code != 200:
        raise BenchmarkError(f"{address} answered {response.status_code} instead of 200")
    return seconds, response.content.decode()


def _line(name: str, ours: float, limit: float, unit: str, note: str) -> Measured:
    return Measured(
        name=name,
        ours=ours,
        baseline=limit,
        unit=unit,
        ratio=ours / limit,
        target="at most 1",
        holds=ours <= limit,
        note=note,
    )
