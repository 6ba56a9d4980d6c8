"""The charge programme of a great mill against that of a small one: what is shown alone is read."""

import time
from collections.abc import Iterator
from statistics import median
from typing import TYPE_CHECKING, Any

from tests.benchmarks.bench_list_pages import BACKEND
from tests.benchmarks.harness import BenchmarkError, Measured, at_most
from tests.benchmarks.own_database import own_database, undone

if TYPE_CHECKING:
    from django.test import Client

    from tests.benchmarks.grown_mill import Ground

SMALL, GREAT = (8, 400), (120, 5000)
LOOKS = 9
MOST = 3.0


def run() -> Iterator[Measured]:
    """Look at the lines of all kilns, and plan a charge as far as what follows, in both mills."""
    with own_database():
        from django.test import Client

        from tests.benchmarks.grown_mill import lay_ground

        ground = lay_ground()
        client = Client()
        client.force_login(ground.user, backend=BACKEND)
        small, great = (_looked_at(client, ground, *size) for size in (SMALL, GREAT))
        for name, seconds in great.items():
            yield Measured(
                name=f"{name}: {GREAT[0]} kilns and {GREAT[1]:,} charges, against {SMALL[0]} and {SMALL[1]}",
                ours=seconds * 1000,
                baseline=small[name] * 1000,
                unit="ms",
                ratio=seconds / small[name],
                target=at_most(MOST),
            )


def _looked_at(client: "Client", ground: "Ground", count: int, charges: int) -> dict[str, float]:
    from tests.benchmarks import grown_mill as mill

    with undone():
        kilns, _fans = mill.with_kilns(ground, count)
        mill.fill_charges(ground, kilns, -(-charges // count))
        return {
            "The programme as lines": _seconds(client, "/charges/", None),
            "What follows on a plan": _seconds(client, "/charges/plan/", _wish(kilns[0].tag)),
        }


def _wish(tag: str) -> dict[str, str]:
    from datetime import timedelta

    from plant import clock

    begin_at = clock.now() + timedelta(days=90)
    said = {"kiln": tag, "number": "new", "species": "larch", "thickness_mm": "50", "volume_m3": "20"}
    said |= {"initial_mc_pct": "60", "final_mc_pct": "12", "key": "6f0c4a52-92a5-4c0b-8a07-3f9a1f6f3a55"}
    return said | {
        "begin_at": f"{begin_at:%Y-%m-%dT%H:%M}",
        "end_at": f"{begin_at + timedelta(days=5):%Y-%m-%dT%H:%M}",
    }


def _seconds(client: "Client", address: str, said: dict[str, str] | None) -> float:
    took = []
    for _ in range(LOOKS):
        start = time.perf_counter()
        answer: Any = client.get(address) if said is None else client.post(address, said)
        took.append(time.perf_counter() - start)
        if answer.status_code != 200 or (said and answer.context["form"].errors):
            raise BenchmarkError(f"{address} did not answer as it should")
    return median(took[1:])
