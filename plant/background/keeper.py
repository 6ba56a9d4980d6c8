"""One server looks after the worker of a database; a second one is told so."""

from datetime import timedelta

from django.db import transaction
from django.utils import timezone

from plant.background.heartbeat import NAME
from plant.background.process import identity, is_alive, is_here
from plant.models import Heartbeat

# How long a server on another host counts as alive after it last looked: longer than any restart takes.
TRUSTED_FOR = timedelta(seconds=60)


class KeptElsewhereError(RuntimeError):
    """Raised where another server looks after the worker; holds that server's identity."""


def take_charge() -> None:
    """Make this process the keeper. Raises KeptElsewhereError."""
    with transaction.atomic():
        Heartbeat.objects.get_or_create(name=NAME)
        beat = Heartbeat.objects.select_for_update().get(name=NAME)
        elsewhere = _elsewhere(beat)
        if elsewhere:
            raise KeptElsewhereError(elsewhere)
        beat.keeper, beat.kept_at = identity(), timezone.now()
        beat.save(update_fields=["keeper", "kept_at"])


def kept_elsewhere() -> str:
    """Return the identity of another live server that looks after the worker; empty where there is none."""
    beat = Heartbeat.objects.filter(name=NAME).first()
    return _elsewhere(beat) if beat else ""


def _elsewhere(beat: Heartbeat) -> str:
    return beat.keeper if beat.keeper and beat.keeper != identity() and _lives(beat) else ""


def _lives(beat: Heartbeat) -> bool:
    if is_here(beat.keeper):
        return is_alive(beat.keeper)
    return beat.kept_at is not None and timezone.now() - beat.kept_at < TRUSTED_FOR


def stay_in_charge() -> None:
    """Renew the charge. Raises KeptElsewhereError where another server took it, because this one slept too long."""
    if not Heartbeat.objects.filter(name=NAME, keeper=identity()).update(kept_at=timezone.now()):
        raise KeptElsewhereError(Heartbeat.objects.get(name=NAME).keeper)


def leave() -> None:
    """Give the charge up."""
    Heartbeat.objects.filter(name=NAME, keeper=identity()).update(keeper="", kept_at=None)


def count_restart() -> None:
    """Note that the worker had to be started anew."""
    beat = Heartbeat.objects.get(name=NAME)
    beat.restarts += 1
    beat.restarted_at = timezone.now()
    beat.save(update_fields=["restarts", "restarted_at"])
