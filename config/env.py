"""Typed reading of the environment that fails loudly on what it does not understand."""

import ipaddress
import os

from django.core.exceptions import ImproperlyConfigured

_TRUE = {"1", "true", "yes", "on"}
_FALSE = {"0", "false", "no", "off"}


def text(name: str, default: str = "") -> str:
    """Return the variable as it is, or the default where it is unset or empty."""
    return os.environ.get(name, "").strip() or default


def flag(name: str, default: bool = False) -> bool:
    """Return a yes/no variable; any other word is refused."""
    raw = os.environ.get(name, "").strip().lower()
    if not raw:
        return default
    if raw in _TRUE:
        return True
    if raw in _FALSE:
        return False
    raise ImproperlyConfigured(f"{name} is {raw!r}: write one of 1, true, yes, on or 0, false, no, off.")


def whole(name: str, default: int, *, least: int = 0) -> int:
    """Return a whole number not below ``least``."""
    raw = os.environ.get(name, "").strip()
    if not raw:
        return default
    try:
        value = int(raw)
    except ValueError:
        raise ImproperlyConfigured(f"{name} is {raw!r}: write a whole number.") from None
    if value < least:
        raise ImproperlyConfigured(f"{name} is {value}: it must be at least {least}.")
    return value


def words(name: str, default: str = "") -> list[str]:
    """Return a comma separated list without empty entries."""
    return [word.strip() for word in text(name, default).split(",") if word.strip()]


def one_of(name: str, known: tuple[str, ...]) -> str:
    """Return one of the known words, the first where the variable is unset; any other is refused."""
    raw = text(name, known[0]).lower()
    if raw not in known:
        raise ImproperlyConfigured(f"{name} is {raw!r}: write one of {', '.join(known)}.")
    return raw


def networks(name: str) -> list[str]:
    """Return comma separated addresses and nets (192.168.7.2, 10.0.0.0/8)."""
    found = words(name)
    for word in found:
        try:
            ipaddress.ip_network(word)
        except ValueError:
            raise ImproperlyConfigured(
                f"{name} holds {word!r}: write addresses or nets, such as 192.168.7.2 or 10.0.0.0/8."
            ) from None
    return found
