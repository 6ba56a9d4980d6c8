"""The table of tasks: background work is named, never imported from what a row says.

A storey registers its tasks in its own ``tasks.py``::

    @task("the day's work")
    def day(progress: Progress, day: str) -> dict[str, int]: ...

    register_daily("the day's work", hour=5)
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from importlib import import_module
from typing import Any, Protocol

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.utils.module_loading import autodiscover_modules

from plant.basics.sentences import Sentence, Sentences, sentences


class Progress(Protocol):
    """What a task calls to say how far it is; it may be called as often as one likes."""

    def __call__(self, done: int, total: int, note: Sentence | Sentences = ()) -> None:
        """Note that ``done`` of ``total`` are behind it, and what is being done."""


class CannotBeDoneError(Exception):
    """Raised by a task whose reason will not go away by trying again; it is shown to the user."""

    def __init__(self, why: Sentence | Iterable[Sentence]) -> None:
        super().__init__(*sentences(why))
        self.why = sentences(why)


class UnknownTaskError(LookupError):
    """Raised for a task that nobody registered."""


TaskFunction = Callable[..., dict[str, Any] | None]

_functions: dict[str, TaskFunction] = {}
_dailies: dict[str, "Daily"] = {}
_frequent: set[str] = set()
_each_tick: list[str] = []
_looks: list[Callable[[], object]] = []


@dataclass(frozen=True)
class Daily:
    """A task wanted once each local day, from an hour on; it is given the day as ISO text."""

    name: str
    hour: int


def task(name: str, *, is_frequent: bool = False) -> Callable[[TaskFunction], TaskFunction]:
    """Register a function as a task; it is called with ``progress`` and the job's arguments by name.

    It must be idempotent: a worker may die after its work and before the record of it. What is wanted every few
    minutes is frequent: once it went well, its record is soon forgotten.
    """

    def register(function: TaskFunction) -> TaskFunction:
        known = _functions.get(name)
        if known is not None and (known.__module__, known.__qualname__) != (function.__module__, function.__qualname__):
            raise ImproperlyConfigured(f"Two tasks are called “{name}”: {known.__module__}, {function.__module__}.")
        _functions[name] = function
        if is_frequent:
            _frequent.add(name)
        return function

    return register


def function_of(name: str) -> TaskFunction:
    """Return the function of a task. Raises UnknownTaskError."""
    try:
        return _functions[name]
    except KeyError:
        raise UnknownTaskError(f"No task is called “{name}”.") from None


def register_daily(name: str, hour: int) -> None:
    """Want a registered task each day from ``hour`` (0 to 23, local time of the mill) on."""
    function_of(name)
    if not 0 <= hour <= 23:
        raise ImproperlyConfigured(f"“{name}” is wanted at hour {hour}: write 0 to 23.")
    _dailies[name] = Daily(name, hour)


def register_each_tick(name: str) -> None:
    """Want a registered task, without arguments, at each tick: every quarter of an hour."""
    function_of(name)
    if name not in _each_tick:
        _each_tick.append(name)


def register_look(function: Callable[[], object]) -> None:
    """Call a function each minute: it looks whether something is to be done, wants it as a task, and is quick."""
    if function not in _looks:
        _looks.append(function)


def looks() -> list[Callable[[], object]]:
    """Return what is called each minute."""
    return list(_looks)


def each_tick() -> list[str]:
    """Return what is wanted at each tick."""
    return list(_each_tick)


def frequent() -> list[str]:
    """Return the tasks that are wanted every few minutes."""
    return sorted(_frequent)


def dailies() -> list[Daily]:
    """Return what is wanted each day."""
    return list(_dailies.values())


def load_tasks() -> None:
    """Let every app, and the modules named in the settings, register its tasks."""
    autodiscover_modules("tasks")
    for module in settings.TASK_MODULES:
        import_module(module)
