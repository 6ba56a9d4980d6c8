"""The smallest set of pins to let go, so that all the others hold together.

A clash is a set of pins that do not hold together while all smaller ones of them do. What must go is a smallest set
that meets every clash; clashes are looked for one after the other until what is left holds.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from itertools import combinations

from .frame import Frame
from .standing import KeptPlace, KeptStop, stand

#: Of clashes that hang together up to so many pins are let go in a smallest set; beyond it the commonest goes first.
MOST_EXACT = 4
#: After so many clashes the rest of what fails goes as it comes.
MOST_CLASHES = 200

Fails = Callable[[Collection[str]], tuple[str, ...]]


def pins_to_let_go(frame: Frame, kept: Mapping[str, KeptPlace], stops: Iterable[KeptStop] = ()) -> tuple[str, ...]:
    """Name a smallest set of pinned jobs without which the others can all keep their places.

    Parameters
    ----------
    frame : Frame
        the problem; its pinned jobs are asked about, all others are taken to give way
    kept : mapping of job to KeptPlace
        where jobs are kept; has every pinned job
    stops : iterable of KeptStop
        lock-outs that are said to be; others are found where they are needed

    Returns
    -------
    tuple of str
        sorted; empty where all hold. Of sets of one size: what is no safety work and costs least to wait goes first.
    """
    known = tuple(stops)

    def fails(refs: Collection[str]) -> tuple[str, ...]:
        return stand(frame, {ref: kept[ref] for ref in refs}, known)[1]

    pins = cheapest_first(frame, frame.problem.pinned)
    if not pins or not fails(pins):
        return ()
    alone = {ref for ref in pins if fails([ref])}
    rest = [ref for ref in pins if ref not in alone]
    clashes: list[frozenset[str]] = []
    while len(clashes) < MOST_CLASHES:
        gone = smallest_cover(clashes, rest)
        left = [ref for ref in rest if ref not in gone]
        if not fails(left):
            return tuple(sorted(alone | gone))
        clashes.append(_clash(left, fails))
    while loose := fails(rest):
        alone |= set(loose)
        rest = [ref for ref in rest if ref not in alone]
    return tuple(sorted(alone))


def cheapest_first(frame: Frame, refs: Iterable[str]) -> list[str]:
    """Order jobs by what it costs to let them wait, safety work last."""

    def price(ref: str) -> tuple[bool, float, str]:
        job = frame.jobs[frame.number_of_job[ref]]
        return job.safety or job.late_cents_per_hour > 0, job.delay_parts_per_min, ref

    return sorted(refs, key=price)


def smallest_cover(clashes: Collection[frozenset[str]], order: Sequence[str]) -> set[str]:
    """Choose a smallest set that has one of every clash; of those of one size the first by order."""
    chosen: set[str] = set()
    for group in _together(clashes):
        members = set().union(*group)
        chosen |= _cover(group, [ref for ref in order if ref in members])
    return chosen


def _cover(group: Sequence[frozenset[str]], members: Sequence[str]) -> set[str]:
    for size in range(1, MOST_EXACT + 1):
        for some in combinations(members, size):
            if all(not clash.isdisjoint(some) for clash in group):
                return set(some)
    counts = Counter(ref for clash in group for ref in clash)
    commonest = max(members, key=lambda ref: counts[ref])
    left = [clash for clash in group if commonest not in clash]
    return {commonest} | (smallest_cover(left, members) if left else set())


def _together(clashes: Collection[frozenset[str]]) -> list[list[frozenset[str]]]:
    """Part clashes into groups that share no pin."""
    groups: list[list[frozenset[str]]] = []
    for clash in clashes:
        touching = [group for group in groups if any(not clash.isdisjoint(other) for other in group)]
        groups = [group for group in groups if group not in touching]
        groups.append([clash, *(other for group in touching for other in group)])
    return groups


def _clash(refs: Sequence[str], fails: Fails) -> frozenset[str]:
    """Take away what is not needed for the rest to fail, in halves, quarters and so on."""
    core, step = list(refs), max(1, len(refs) // 2)
    while True:
        at = 0
        while at < len(core):
            tried = core[:at] + core[at + step :]
            if tried and fails(tried):
                core = tried
            else:
                at += step
        if step == 1:
            return frozenset(core)
        step //= 2
