"""Every list page with few rows and with many: the number of queries must be the same. The time is told, not judged."""

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from tests.benchmarks.harness import BenchmarkError, Measured, Target
from tests.benchmarks.own_database import own_database, undone

if TYPE_CHECKING:
    from django.test import Client

    from tests.benchmarks.grown_mill import Ground

FEW, MANY = 10, 10_000
FEW_KILNS, MANY_KILNS = 10, 120
FEW_PEOPLE, MANY_PEOPLE = 10, 200
BACKEND = "django.contrib.auth.backends.ModelBackend"
Fill = Callable[["Ground", int], str | None]
"""Writes so many rows, and returns the address where it depends on them."""


@dataclass(frozen=True)
class ListPage:
    """A page, what it lists, and how that is written."""

    name: str
    address: str
    rows: str
    fill: Fill
    few: int = FEW
    many: int = MANY


@dataclass(frozen=True)
class Seen:
    """What one look at a page took."""

    queries: int
    seconds: float


def run() -> Iterator[Measured]:
    """Look at every page twice over."""
    with own_database():
        from django.test import Client

        from tests.benchmarks.grown_mill import lay_ground

        ground = lay_ground()
        client = Client()
        client.force_login(ground.user, backend=BACKEND)
        for page in list_pages():
            yield _measured(page, client, ground)


def _measured(page: ListPage, client: "Client", ground: "Ground") -> Measured:
    few, many = (_seen(page, client, ground, count) for count in (page.few, page.many))
    return Measured(
        name=f"{page.name}: {page.many:,} {page.rows}, against {page.few}",
        ours=many.queries,
        baseline=few.queries,
        unit="queries",
        ratio=many.queries / few.queries,
        target=Target(least=1, most=1),
        note=f"answers in {many.seconds:.2f} s, with few in {few.seconds:.2f} s",
    )


def _seen(page: ListPage, client: "Client", ground: "Ground", count: int) -> Seen:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from maintenance.plans.places_now import look_at_places
    from plant import clock

    with undone():
        address = page.fill(ground, count) or page.address
        # As the background does within minutes, whatever the mill's size.
        look_at_places(clock.now())
        _answered(client, address)
        with CaptureQueriesContext(connection) as captured:
            _answered(client, address)
        return Seen(len(captured), _answered(client, address))


def _answered(client: "Client", address: str) -> float:
    """Ask for a page and return the seconds it took."""
    start = time.perf_counter()
    response: Any = client.get(address)
    seconds = time.perf_counter() - start
    if response.status_code != 200:
        raise BenchmarkError(f"{address} answered {response.status_code} instead of 200")
    return seconds


def list_pages() -> list[ListPage]:
    """Name the pages, in the order of the tabs."""
    kilns = {"few": FEW_KILNS, "many": MANY_KILNS}
    people = {"few": FEW_PEOPLE, "many": MANY_PEOPLE}
    return [
        ListPage("Kilns", "/kilns/", "kilns with 20 charges each", _kilns, **kilns),
        ListPage("A kiln", "/kilns/K1/", "downtimes, as many jobs over and changes", _one_kiln),
        ListPage("Charges", "/charges/", "kilns with 20 charges each", _kilns, **kilns),
        ListPage("Rounds", "/rounds/", "kilns under check at 80 points", _rounds, **kilns),
        ListPage("Rounds", "/rounds/", "checks that are over", _checks_over),
        ListPage("Defects", "/rounds/defects/", "defects", _defects),
        ListPage("Proof tests", "/rounds/proof-tests/", "escape doors", _doors),
        ListPage("Recurring tasks", "/rounds/recurring-tasks/", "recurring tasks", _standing),
        ListPage("Watches", "/watches/", "watches", _watches),
        ListPage("A watch", "", "times that it spoke up", _one_watch),
        ListPage("Climate of a kiln", "/kilns/K1/climate/", "readings, charges and firings to match", _climate),
        ListPage("Readings", "/readings/", "sources", _sources),
        ListPage("A source", "/readings/sources/s0/", "files that came", _intakes),
        ListPage("Channels", "/readings/channels/", "kilns", _kilns, **kilns),
        ListPage("Openings", "/openings/", "kilns with 5 jobs each", _openings, **kilns),
        ListPage("Openings of three days", "/openings/?days=3", "kilns with 5 jobs each", _openings, **kilns),
        ListPage("Openings of three months", "/openings/?days=91", "kilns with 5 jobs each", _openings, **kilns),
        ListPage("Openings", "/openings/", "jobs to be done, nine in ten of them placed", _placed),
        ListPage("Plans", "/openings/plans/", "plans", _plans),
        ListPage("Work orders", "/work-orders/", "jobs to be done", _orders),
        ListPage("Work orders", "/work-orders/?state=all", "jobs of any state", _orders),
        ListPage("My work", "/my-work/", "jobs of one person in a year", _my_work),
        ListPage("Own week", "/my-work/week/", "jobs of one person in a year", _my_work),
        ListPage("Stores", "/stores/", "parts", _parts),
        ListPage("A part", "", "entries of its ledger, as many changes", _one_part),
        ListPage("Orders", "/stores/orders/", "purchase orders", _purchases),
        ListPage("Availability", "/availability/", "kilns with 60 charges and 84 downtimes each", _available, **kilns),
        ListPage("Availability", "/availability/", "downtimes of 10 kilns", _downtimes),
        ListPage("People", "/people/", "people", _people, **people),
        ListPage("Sign-ins", "/sign-ins/", "people, every second with a sign-in", _people, **people),
        ListPage("Background work", "/background/", "jobs of the background", _jobs),
        # The words ship with the product: their number is always the same.
        ListPage("Words", "/words/", "kilns beside the fixed words", _kilns, **kilns),
    ]


def _kilns(ground: "Ground", count: int) -> None:
    from tests.benchmarks import grown_mill as mill

    kilns, fans = mill.with_kilns(ground, count)
    mill.fill_charges(ground, kilns, 20)
    mill.fill_downtimes(ground, fans, 5 * count)
    mill.fill_places(ground, mill.fill_orders(ground, fans, 3 * count, state="placed"), 14 * mill.DAY)


def _one_kiln(ground: "Ground", count: int) -> None:
    from tests.benchmarks import grown_mill as mill

    mill.fill_charges(ground, ground.kilns[:1], 40)
    mill.fill_downtimes(ground, ground.fans[:1], count, 2000 * mill.DAY)
    mill.fill_orders(ground, ground.fans[:1], count, state="signed_off")
    mill.fill_changes(ground, ground.kilns[0], count)


def _rounds(ground: "Ground", count: int) -> None:
    from tests.benchmarks import grown_mill as mill

    mill.fill_checks(ground, mill.with_kilns(ground, count)[1], over=count, points=80)


def _checks_over(ground: "Ground", count: int) -> None:
    from tests.benchmarks import grown_mill as mill

    mill.fill_checks(ground, ground.fans, over=count, points=80)


def _defects(ground: "Ground", count: int) -> None:
    from tests.benchmarks import grown_mill as mill

    mill.fill_defects(ground, ground.fans, count)


def _doors(ground: "Ground", count: int) -> None:
    from tests.benchmarks import grown_mill as mill

    mill.fill_doors(ground, count)


def _standing(ground: "Ground", count: int) -> None:
    from tests.benchmarks import grown_mill as mill

    mill.fill_standing(ground, count)


def _watches(ground: "Ground", count: int) -> None:
    from tests.benchmarks import grown_mill as mill

    mill.fill_watches(ground, count)


def _one_watch(ground: "Ground", count: int) -> str:
    from tests.benchmarks import grown_mill as mill

    watch = mill.fill_watches(ground, FEW_KILNS + 1)[-1]
    mill.fill_firings(ground, watch, count)
    return watch.get_absolute_url()


def _climate(ground: "Ground", count: int) -> None:
    from tests.benchmarks import grown_mill as mill

    mill.fill_charges(ground, ground.kilns[:1], 15)
    mill.fill_readings(ground, ground.kilns[0], count)
    mill.fill_watches(ground, FEW_KILNS)


def _sources(ground: "Ground", count: int) -> None:
    from tests.benchmarks import grown_mill as mill

    mill.fill_sources(ground, count)


def _intakes(ground: "Ground", count: int) -> None:
    from tests.benchmarks import grown_mill as mill

    mill.fill_intakes(ground, mill.fill_sources(ground, 1)[0], count)


def _openings(ground: "Ground", count: int) -> None:
    from tests.benchmarks import grown_mill as mill

    kilns, fans = mill.with_kilns(ground, count)
    mill.fill_crew(ground, 12)
    mill.fill_charges(ground, kilns, 20)
    mill.fill_downtimes(ground, fans, 5 * count)
    mill.fill_doors(ground, count)
    orders = mill.fill_orders(ground, fans, 5 * count)
    mill.fill_places(ground, orders[: 4 * count], 50 * mill.DAY)


def _plans(ground: "Ground", count: int) -> None:
    from tests.benchmarks import grown_mill as mill

    mill.fill_plans(ground, count)


def _placed(ground: "Ground", count: int) -> None:
    from tests.benchmarks import grown_mill as mill

    mill.fill_crew(ground, 12)
    mill.fill_charges(ground, ground.kilns, 20)
    orders = mill.fill_orders(ground, ground.fans, count)
    mill.fill_places(ground, orders[: count * 9 // 10], 300 * mill.DAY)


def _orders(ground: "Ground", count: int) -> None:
    from tests.benchmarks import grown_mill as mill

    mill.fill_orders(ground, ground.fans, count)


def _my_work(ground: "Ground", count: int) -> None:
    from tests.benchmarks import grown_mill as mill

    mill.fill_places(ground, mill.fill_orders(ground, ground.fans, count, state="placed"), 365 * mill.DAY)


def _parts(ground: "Ground", count: int) -> None:
    from tests.benchmarks import grown_mill as mill

    mill.fill_parts(ground, count)


def _one_part(ground: "Ground", count: int) -> str:
    from tests.benchmarks import grown_mill as mill

    part = mill.fill_parts(ground, FEW)[0]
    mill.fill_ledger(ground, part, count)
    mill.fill_changes(ground, part, count)
    return part.get_absolute_url()


def _purchases(ground: "Ground", count: int) -> None:
    from tests.benchmarks import grown_mill as mill

    mill.fill_parts(ground, count)


def _available(ground: "Ground", count: int) -> None:
    from tests.benchmarks import grown_mill as mill

    kilns, fans = mill.with_kilns(ground, count)
    mill.fill_charges(ground, kilns, 60)
    mill.fill_downtimes(ground, fans, 84 * count)


def _downtimes(ground: "Ground", count: int) -> None:
    from tests.benchmarks import grown_mill as mill

    mill.fill_charges(ground, ground.kilns, 60)
    mill.fill_downtimes(ground, ground.fans, count)


def _people(ground: "Ground", count: int) -> None:
    from tests.benchmarks import grown_mill as mill

    mill.fill_crew(ground, count)


def _jobs(ground: "Ground", count: int) -> None:
    from tests.benchmarks import grown_mill as mill

    mill.fill_jobs(ground, count)
