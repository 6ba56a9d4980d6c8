"""What the server does for a drag on the board of 120 kilns and 2,400 jobs, and for the board of three months."""

import statistics
import time
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

from tests.benchmarks.harness import BenchmarkError, Measured, Target, at_most, yardstick_s
from tests.benchmarks.own_database import own_database

KILNS, JOBS, PEOPLE = 120, 2_400, 20
DRAGS, REPEATS = 60, 2
#: A drag is answered within so many yardsticks of the server's processor: 0.06 s where a yardstick takes 22 ms.
MOST_FOR_A_DRAG = 2.7
#: A page of the board likewise (1.5 s there), and its bytes before they are compressed.
MOST_FOR_A_PAGE, PAGE_BYTES = 68, 2_000_000
BACKEND = "django.contrib.auth.backends.ModelBackend"


def run() -> Iterator[Measured]:
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
        yield _verdicts(client, orders)
        yield from _boards(client)


def _verdicts(client: Any, orders: list[Any]) -> Measured:
    chosen = orders[:: len(orders) // DRAGS][:DRAGS]
    first_s, _answer = _answered(client, _question(chosen[0], 0))
    taken, yardsticks, fits = [], [], 0
    for number, order in enumerate(chosen):
        if number % (DRAGS // 4) == 0:
            yardsticks.append(yardstick_s())
        # Some hold, most break a rule, as under a hand that moves about.
        seconds, answer = _answered(client, _question(order, (0, 30, 180, 1440)[number % 4]))
        taken.append(seconds)
        fits += 'data-fits="yes"' in answer
    note = f"worst {max(taken):.3f} s, {fits} of {len(taken)} hold; the first fills the cache in {first_s:.1f} s"
    name = f"verdict for a drag: {KILNS} kilns, {len(orders):,} placed jobs, median against the yardstick"
    return _line(name, statistics.median(taken), statistics.mean(yardsticks), at_most(MOST_FOR_A_DRAG), note)


def _question(order: Any, minutes: int) -> str:
    start_at = order.placement.start_at + timedelta(minutes=minutes)
    return f"/openings/verdict/?job={order.number}&start={start_at:%Y-%m-%dT%H:%M:%SZ}"


def _boards(client: Any) -> Iterator[Measured]:
    for days in (3, 91):
        address = f"/openings/?days={days}"
        yardsticks = [yardstick_s()]
        answers = [_answered(client, address) for _ in range(REPEATS)]
        yardsticks.append(yardstick_s())
        taken, size = [seconds for seconds, _answer in answers], len(answers[0][1].encode())
        name, note = f"board of {days} days: {KILNS} kilns", f"worst {max(taken):.2f} s"
        yield _line(
            f"{name}, against the yardstick", min(taken), statistics.mean(yardsticks), at_most(MOST_FOR_A_PAGE), note
        )
        yield Measured(
            f"{name}, size against the limit", size / 1e6, PAGE_BYTES / 1e6, "MB", size / PAGE_BYTES, Target(most=1)
        )


def _answered(client: Any, address: str) -> tuple[float, str]:
    """Ask for a page and return the processor seconds it took, with the answer."""
    start = time.process_time()
    response = client.get(address)
    seconds = time.process_time() - start
    if response.status_code != 200:
        raise BenchmarkError(f"{address} answered {response.status_code} instead of 200")
    return seconds, response.content.decode()


def _line(name: str, seconds: float, yardstick: float, target: Target, note: str) -> Measured:
    return Measured(name, seconds, yardstick, "s", seconds / yardstick, target, note)
