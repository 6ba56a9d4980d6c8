"""What stands in a message of a broker, and what is kept of those that cannot be read."""

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.db import transaction

from plant import clock
from plant.basics.sentences import Sentence, Sentences, sentences
from plant.models import FileIntake, ReadingSource
from plant.readings.calculations.sent_readings import (
    JsonFaultError,
    Named,
    Sent,
    SentFaultsError,
    kind_of,
    load_json,
    printable,
    read_sent,
    shown,
)

MOST_BYTES: Final = 16 * 1024 * 1024
# A source that sends nothing else shall not fill the database.
MOST_KEPT: Final = 100
MOST_KEPT_AT_ONCE: Final = 20
MOST_FAULTS_KEPT: Final = 10


class RefusedMessageError(ValueError):
    """A message that cannot be read; ``faults`` says why."""

    def __init__(self, faults: Iterable[Sentence]) -> None:
        self.faults = sentences(faults)
        super().__init__("; ".join(map(str, self.faults)))


@dataclass(frozen=True, slots=True)
class Message:
    """A message as it came, with the second in which it came; ``mid`` is its number between broker and listener."""

    topic: str
    payload: bytes
    at_s: float
    mid: int = 0
    is_retained: bool = False


@dataclass(frozen=True, slots=True)
class Refused:
    """A message that was not taken in, and why."""

    message: Message
    faults: Sentences


def read_message(message: Message, names: Mapping[str, Named], *, with_time: bool) -> Sent | None:
    """Return the readings of a message that say their time, or of one that does not; None if it is of the other kind.

    A message is an object such as ``{"at": …, "value": …}``, with ``channel`` unless its topic names it, or
    ``{"readings": […]}``, or a number alone. What does not say its time was measured when it came; one that the broker
    retained was measured nobody knows when, and is none.

    Raises
    ------
    RefusedMessageError
        If it cannot be read. What cannot be opened counts as one with time, so that it is refused once.
    """
    try:
        items = _items(message, names)
    except RefusedMessageError:
        if with_time:
            raise
        return None
    has_time = any(isinstance(item, dict) and "at" in item for item in items)
    if has_time is not with_time or (message.is_retained and not has_time):
        return None
    if not has_time:
        items = [{**item, "at": message.at_s} if isinstance(item, dict) else item for item in items]
    try:
        return read_sent(items, names, clock.now().timestamp())
    except SentFaultsError as fault:
        is_one = len(items) == 1
        faults = [
            Sentence.of("message.fault", reason=what)
            if is_one
            else Sentence.of("message.reading", number=index + 1, reason=what)
            for index, what in fault.faults
        ]
        raise RefusedMessageError(faults) from None


def _items(message: Message, names: Mapping[str, Named]) -> list[Any]:
    """Return the readings of a message as they are written. Raises RefusedMessageError."""
    if len(message.payload) > MOST_BYTES:
        raise RefusedMessageError([Sentence.of("message.large", most_mib=MOST_BYTES // 2**20)])
    try:
        content = load_json(message.payload)
    except JsonFaultError as fault:
        raise RefusedMessageError([Sentence.of("message.unread", reason=str(fault))]) from None
    if type(content) is int or type(content) is float:
        content = {"value": content}
    if type(content) is not dict:
        raise RefusedMessageError([Sentence.of("message.other_kind", kind=kind_of(content))])
    if set(content) == {"readings"} and isinstance(content["readings"], list):
        return content["readings"]
    return [{"channel": _channel_of(message.topic, names), **content}]


def _channel_of(topic: str, names: Mapping[str, Named]) -> str:
    """Return what channel a topic names: by its whole name, or by an end such as ``…/K1/wet_bulb:left``."""
    end = "/".join(topic.split("/")[-2:])
    return end if topic not in names and end in names else topic


@transaction.atomic
def keep_refused(source: ReadingSource, refused: Sequence[Refused]) -> None:
    """Keep why messages were refused, one row a topic, the newest only."""
    by_topic: dict[str, list[Refused]] = {}
    for one in refused:
        by_topic.setdefault(one.message.topic, []).append(one)
    FileIntake.objects.bulk_create(
        FileIntake(
            source=source,
            file_name=printable(topic[:200]),
            digest=hashlib.sha256(ones[-1].message.payload).hexdigest(),
            at=clock.now(),
            is_taken_in=False,
            read=len(ones),
            faults=[
                *ones[-1].faults[:MOST_FAULTS_KEPT],
                Sentence.of("message.was", text=_begin(ones[-1].message.payload)),
            ],
        )
        for topic, ones in list(by_topic.items())[:MOST_KEPT_AT_ONCE]
    )
    kept = FileIntake.objects.filter(source=source).order_by("-at", "-id").values_list("pk", flat=True)
    FileIntake.objects.filter(pk__in=list(kept[MOST_KEPT:])).delete()


def _begin(payload: bytes) -> str:
    return shown(payload[:100].decode(errors="replace"))
