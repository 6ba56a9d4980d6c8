"""Every code that is used has a pattern, every pattern is used, and both name the same values."""

import ast
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest
from django.utils import translation

from inventory.models import StockMove
from plant.basics.sentences import TYPED
from plant.frame.saying import Worded, patterns
from plant.models import ChargeWord

STOREYS = ("plant", "inventory", "maintenance", "config")
ROOT = Path(__file__).parent.parent


class Names(dict[str, object]):
    """Values that note which of them a pattern asks for."""

    def __init__(self, count: int) -> None:
        super().__init__()
        self.count = count

    def __missing__(self, name: str) -> object:
        self[name] = self.count
        return self.count


def placeholders(code: str) -> set[str]:
    """Return what the pattern names, in the singular and in the plural."""
    with translation.override("en"):
        one, many = Names(1), Names(2)
        pattern = patterns()[code]
        if isinstance(pattern, Worded):
            return set(pattern.names)
        str(pattern % one), str(pattern % many)
    return {*one, *many}


def used() -> Iterator[tuple[str, ast.Call]]:
    """Find every ``Sentence.of(…)``."""
    for storey in STOREYS:
        for file in sorted((ROOT / storey).rglob("*.py")):
            for node in ast.walk(ast.parse(file.read_text())):
                if isinstance(node, ast.Call) and ast.unparse(node.func) == "Sentence.of":
                    yield f"{file.relative_to(ROOT)}:{node.lineno}", node


def texts() -> Iterator[str]:
    """Find every text that stands in the sources: acts of the history are among them."""
    for storey in STOREYS:
        for file in (ROOT / storey).rglob("*.py"):
            nodes = ast.walk(ast.parse(file.read_text()))
            yield from (one.value for one in nodes if isinstance(one, ast.Constant) and isinstance(one.value, str))


#: What puts an act into the history, or hands one on to what does.
RECORDING = {"record", "save_changed", "move", "_save_link", "_switch"}


def acts() -> Iterator[tuple[str, str]]:
    """Find every act of the history that is written out where it is recorded: where, and the act."""
    for storey in STOREYS:
        for file in sorted((ROOT / storey).rglob("*.py")):
            for node in ast.walk(ast.parse(file.read_text())):
                if isinstance(node, ast.Call) and ast.unparse(node.func).rpartition(".")[2] in RECORDING:
                    named = [*node.args, *(word.value for word in node.keywords if word.arg == "act")]
                    chosen = [one for one in named if isinstance(one, ast.IfExp)]
                    named += [branch for one in chosen for branch in (one.body, one.orelse)]
                    told = [one.value for one in named if isinstance(one, ast.Constant)]
                    yield from (
                        (f"{file.relative_to(ROOT)}:{node.lineno}", act) for act in told if act and isinstance(act, str)
                    )


def codes(node: ast.expr, where: str) -> Iterator[str]:
    """Return the codes that the first argument may be: a text, or one of two."""
    match node:
        case ast.Constant(value=str(code)):
            yield code
        case ast.IfExp(body=body, orelse=orelse):
            yield from codes(body, where)
            yield from codes(orelse, where)
        case _:
            pytest.fail(f"{where}: name the codes themselves, so that they can be looked up: {ast.unparse(node)}")


# The class reads codes back from JSON, and keeps what was typed.
OWN = {"plant/basics/sentences.py"}


def in_use() -> Iterator[tuple[str, str, set[str] | None]]:
    """Return (where, code, names of its values; None where they are handed on as a whole)."""
    for where, call in used():
        if where.rpartition(":")[0] in OWN:
            continue
        names = {word.arg for word in call.keywords}
        for code in codes(call.args[0], where):
            yield where, code, None if None in names else {name for name in names if name}


def test_what_is_used_has_a_pattern_with_its_values() -> None:
    faults = []
    for where, code, names in in_use():
        if code not in patterns():
            faults.append(f"{where}: “{code}” has no pattern")
        elif names is not None and not placeholders(code) <= names:
            faults.append(f"{where}: “{code}” asks for {sorted(placeholders(code) - names)}")
        elif names is not None and names - placeholders(code) - UNSAID.get(code, set()):
            faults.append(f"{where}: “{code}” does not say {sorted(names - placeholders(code))}")
    assert not faults, "\n".join(faults)


#: Values that a sentence carries for whoever reads it as data, and that its words do not need.
UNSAID: Mapping[str, set[str]] = {
    # What breaks it, which these name otherwise.
    "broken.away": {"what"},
    "broken.no_skill": {"what"},
    "broken.two_places": {"what"},
    # It chooses the plural.
    "fault.not_on_shift": {"count"},
    "supposed.pins_loose": {"count"},
}


def test_what_the_history_records_has_words() -> None:
    without = [f"{where}: “{act}”" for where, act in acts() if f"act.{act}" not in patterns()]
    assert not without, "Say these acts among the patterns, as act.<code>:\n" + "\n".join(without)


def test_every_pattern_is_used() -> None:
    told = {f"told: {what}" for what in ChargeWord.What.values} | {f"stock: {kind}" for kind in StockMove.Kind.values}
    acts = {f"act.{text}" for text in {*texts(), *told}}
    assert set(patterns()) - {code for _where, code, _names in in_use()} - acts == {TYPED}


def test_every_pattern_can_be_said() -> None:
    for code in patterns():
        assert placeholders(code) is not None
