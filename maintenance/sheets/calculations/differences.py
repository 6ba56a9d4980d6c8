"""What is different between two versions of a task sheet or a check point."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

Content = Mapping[str, Any]


@dataclass(frozen=True)
class Difference:
    """One thing that is different.

    Parameters
    ----------
    name : str
        what it is, as the content calls it; of what is numbered or named within, the name of the whole.
    key : str
        which of them: the number of a step, the code of a skill, a part or a caution; else empty.
    was, now : object
        both values; None where it was not there, or is there no more.
    """

    name: str
    key: str
    was: Any
    now: Any


def differences(before: Content, after: Content) -> tuple[Difference, ...]:
    """List what is different between two versions, in the order in which the later one tells it.

    Parameters
    ----------
    before, after : Mapping[str, Any]
        name -> value: text, number, flag; a mapping code -> amount; a list of codes; or a list of steps, each a mapping
        with its number under ``no``.

    Returns
    -------
    tuple[Difference, ...]
        nothing where both say the same.
    """
    names = [*after, *(name for name in before if name not in after)]
    found: list[Difference] = []
    for name in names:
        was, now = before.get(name), after.get(name)
        if was == now:
            continue
        if _is_many(was) or _is_many(now):
            was_by, now_by = _by_key(was), _by_key(now)
            keys = [*now_by, *(key for key in was_by if key not in now_by)]
            found += [
                Difference(name, key, was_by.get(key), now_by.get(key))
                for key in keys
                if was_by.get(key) != now_by.get(key)
            ]
        else:
            found.append(Difference(name, "", was, now))
    return tuple(found)


def _is_many(value: Any) -> bool:
    return isinstance(value, list | tuple | Mapping)


def _by_key(value: Any) -> dict[str, Any]:
    """Return key -> value of what there are several of; a bare code stands for itself."""
    if isinstance(value, Mapping):
        return {str(key): one for key, one in value.items()}
    many: Sequence[Any] = value or ()
    return {str(one["no"]): one for one in many} if _are_steps(many) else {str(one): one for one in many}


def _are_steps(many: Sequence[Any]) -> bool:
    return bool(many) and isinstance(many[0], Mapping)
