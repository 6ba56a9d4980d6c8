"""Which failure mode is the likeliest behind what a watch saw: the watch's own order, and what happened here before."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Suspect:
    """A failure mode with how often it was found on the suspected component before."""

    code: str
    times: int


def rank(codes: Sequence[str], times: Mapping[str, int]) -> tuple[Suspect, ...]:
    """Rank failure modes, the likeliest first.

    The watch's order counts as a little experience: its first mode as one case, its second as half a case, its third as
    a third of one (our own choice). Each case found here counts one. So a mode that was found once on this component
    comes before all that never were but the first, and one found twice before that too.

    Parameters
    ----------
    codes : Sequence[str]
        Failure modes, the likeliest in general first.
    times : Mapping[str, int]
        How often each was found on the component; modes that are not in ``codes`` are left out.
    """
    score = {code: 1 / (place + 1) + times.get(code, 0) for place, code in enumerate(codes)}
    return tuple(Suspect(code, times.get(code, 0)) for code in sorted(score, key=lambda code: -score[code]))
