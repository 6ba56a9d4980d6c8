"""Sixty processes killed at random: nothing acknowledged is lost or doubled, and work goes on."""

import os
import random
import signal
import subprocess
import sys
import time
from contextlib import suppress

import pytest

from tests.plant.receiving import readings
from tests.plant.serving import ROOT, Server, until
from tests.plant.test_readings_survive import Sender, as_stored

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="looks into /proc")

ROUNDS, KILLS_A_ROUND = 20, 3
WITHIN_S = 30
CHANCE = random.Random(20261130)


def test_sixty_random_kills_lose_nothing_and_work_goes_on(receiver: Server) -> None:
    receiver.start()
    sender = Sender(receiver)
    sender.start()
    # Wants a job twice a second and writes down which are on record.
    wanting = subprocess.Popen(
        [sys.executable, "-m", "tests.plant.driver", "keep wanting", "900"],
        cwd=ROOT,
        env=receiver.environ,
        stdout=subprocess.PIPE,
        text=True,
    )
    slowest_s = 0.0
    try:
        for _ in range(ROUNDS):
            for _ in range(KILLS_A_ROUND):
                time.sleep(CHANCE.uniform(0, 0.7))
                victims = [pid for pid in receiver.descendants() if pid != wanting.pid]
                if victims:
                    with suppress(ProcessLookupError):
                        os.kill(CHANCE.choice(victims), signal.SIGKILL)
            begun, killed = time.monotonic(), len(receiver.starts())
            acknowledged = sender.acknowledged
            until(lambda: len(receiver.starts()) > killed + 1, "jobs start again")  # noqa: B023  called at once
            until(lambda: sender.acknowledged > acknowledged, "readings come in again")  # noqa: B023
            slowest_s = max(slowest_s, time.monotonic() - begun)
    finally:
        wanting.terminate()
        on_record = {line.strip() for line in wanting.communicate()[0].splitlines()}
        sender.ending.set()
        sender.join(60)
    assert slowest_s < WITHIN_S
    ended = receiver.ended()
    assert on_record
    assert on_record <= set(ended)
    assert {key: state for key, (state, _attempts) in ended.items() if state != "finished"} == {}
    assert receiver.stop() == 0
    stored = readings(receiver)
    assert len(stored) in (sender.acknowledged * sender.SIZE, (sender.acknowledged + 1) * sender.SIZE)
    assert stored == as_stored(range(len(stored)))
