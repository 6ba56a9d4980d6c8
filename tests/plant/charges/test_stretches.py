"""When a kiln was what, and why."""

from collections import Counter
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.availability.calculations.stretches import Being, RecordRow, Stretch, joined, stretches
from plant.charges.calculations.time_account import account_grid

EDGES = (0, 400, 1000)
RECORDS = st.lists(
    st.tuples(
        st.integers(-200, 1100),
        st.none() | st.integers(1, 600),
        st.sampled_from(["planned", "unplanned", "external", "no_timber"]),
        st.sampled_from([1, 250, 400, 700, 1000]),
    ),
    max_size=9,
).map(
    lambda rows: [(key, s, None if n is None else s + n, kind, share) for key, (s, n, kind, share) in enumerate(rows)]
)


@settings(max_examples=150)
@given(RECORDS)
def test_the_stretches_add_up_to_the_time_account(records: list[RecordRow]) -> None:
    found = stretches(records, EDGES, 900)
    grid = account_grid([(1, *row[1:]) for row in records], EDGES, 900, kiln_ids=[1])
    kinds = {row[0]: row[3] for row in records}
    for cell in (0, 1):
        split = grid.account(1, cell).required
        here = [s for s in found if s.cell == cell]
        seconds = {being: sum(s.seconds for s in here if s.being is being) for being in Being}
        assert (seconds[Being.ABLE], seconds[Being.SLOWED], seconds[Being.PLANNED]) == (
            split.able_s,
            split.slowed_s,
            split.planned_s,
        )
        assert (seconds[Being.UNPLANNED], seconds[Being.NO_TIMBER]) == (split.unplanned_s, split.no_timber_s)
        assert seconds[Being.EXTERNAL] == split.external_s
        lost = Counter[str]()
        for stretch in here:
            for key, share in stretch.due_to if stretch.being is Being.SLOWED else ():
                lost[kinds[key]] += stretch.seconds * share
        assert (lost["unplanned"], lost["planned"]) == (split.slowed_unplanned_ms, split.slowed_planned_ms)
        assert lost["external"] == split.slowed_external_ms


@settings(max_examples=100)
@given(RECORDS)
def test_stretches_touch_and_the_order_of_records_is_irrelevant(records: list[RecordRow]) -> None:
    found = stretches(records, EDGES, 900)
    assert (found[0].start_s, found[-1].end_s) == (0, 1000)
    assert all(a.end_s == b.start_s for a, b in pairwise(found))
    assert stretches(sorted(records, key=lambda row: -row[0]), EDGES, 900) == found
    whole = list(joined(found))
    assert sum(s.seconds for s in whole) == 1000
    assert all((a.being, a.due_to) != (b.being, b.due_to) for a, b in pairwise(whole))


def test_a_stop_is_due_to_the_record_that_began_first() -> None:
    records: list[RecordRow] = [(7, 300, 600, "unplanned", 1000), (8, 100, 500, "unplanned", 1000)]
    assert list(joined(stretches(records, (0, 1000), 1000))) == [
        Stretch(0, 100, 0, Being.ABLE),
        Stretch(100, 500, 0, Being.UNPLANNED, ((8, 1000),)),
        Stretch(500, 600, 0, Being.UNPLANNED, ((7, 1000),)),
        Stretch(600, 1000, 0, Being.ABLE),
    ]


def test_slowing_at_the_same_time_adds_up_to_no_more_than_the_whole() -> None:
    records: list[RecordRow] = [(1, 0, None, "planned", 700), (2, 0, None, "unplanned", 600)]
    assert stretches(records, (0, 10), 10) == [Stretch(0, 10, 0, Being.SLOWED, ((2, 600), (1, 400)))]


def test_it_refuses_edges_that_do_not_rise_and_kinds_it_does_not_know() -> None:
    with pytest.raises(ValueError, match="edges must be at least two and rise"):
        stretches([], (5, 5), 10)
    with pytest.raises(ValueError, match="'holiday' is not a valid DowntimeKind"):
        stretches([(1, 0, 5, "holiday", 1000)], (0, 10), 10)
