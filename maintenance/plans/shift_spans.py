"""Shifts that count as one: those of one person that adjoin, and those of two that overlap for long."""

from collections import defaultdict
from collections.abc import Iterable, Mapping

#: A shift in minutes: from and to, and until when its people may work on.
Span = tuple[int, int, int]
#: Two shifts that overlap for less are not worth a crew of both.
LEAST_TOGETHER_MIN = 120
#: No shift begins so long before minute 0: four years.
BEFORE_ALL_MIN = -4 * 366 * 24 * 60


def running_on(of_person: Mapping[str, Iterable[Span]]) -> dict[Span, set[str]]:
    """Return the shifts of one person that run into each other, as one: a job may lie across both."""
    found: dict[Span, set[str]] = defaultdict(set)
    for ref, spans in of_person.items():
        start = end = BEFORE_ALL_MIN
        for span in sorted(spans):
            if span[0] > end:
                start, end = span[:2]
            elif span[1] > end:
                end = span[1]
                found[start, end, span[2]].add(ref)
    return found


def together(people: Mapping[Span, set[str]]) -> dict[Span, set[str]]:
    """Return the times in which two shifts overlap for long, with the people of both: they can work as one crew."""
    found: dict[Span, set[str]] = defaultdict(set)
    spans = sorted(people)
    for index, (start, end, overtime_end) in enumerate(spans):
        for other_start, other_end, other_overtime_end in spans[index + 1 :]:
            if other_start >= end:
                break
            both = (max(start, other_start), min(end, other_end), min(overtime_end, other_overtime_end))
            if both[1] - both[0] >= LEAST_TOGETHER_MIN and both not in people:
                found[both] |= people[start, end, overtime_end]
                found[both] |= people[other_start, other_end, other_overtime_end]
    return found
