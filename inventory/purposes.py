"""What stands behind the source of a reservation: a storey above says it, the stores only know its number."""

from collections.abc import Callable, Collection

Describe = Callable[[Collection[str]], dict[str, str]]

_describing: list[Describe] = []


def register(describe: Describe) -> None:
    """Let a storey above say in words when and by whom its sources want their parts; registering twice is once."""
    if describe not in _describing:
        _describing.append(describe)


def describe(sources: Collection[str]) -> dict[str, str]:
    """Return source -> words about it, only where somebody has some."""
    return {source: words for one in _describing for source, words in one(sources).items()}
