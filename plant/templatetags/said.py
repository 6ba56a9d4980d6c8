"""{{ order.why|said }}: sentences in the reader's words; every template has the filter without loading it."""

from collections.abc import Iterable, Mapping
from typing import Any

from django import template

from plant.basics.sentences import Sentence
from plant.frame.saying import say, say_kept

register = template.Library()


@register.filter
def said(told: Sentence | Iterable[Sentence] | Mapping[str, Any] | Iterable[Mapping[str, Any]] | str | None) -> str:
    """Say one or several sentences, as objects or as they are kept in JSON; text comes as it is."""
    if isinstance(told, str):
        return told
    if not told:
        return ""
    if isinstance(told, Sentence):
        return say(told)
    if isinstance(told, Mapping):
        return say_kept([told])
    several: Any = tuple(told)
    return say(several) if isinstance(several[0], Sentence) else say_kept(several)
