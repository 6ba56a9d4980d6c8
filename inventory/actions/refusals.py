"""What the stores refuse, in the storekeeper's words."""

from django.core.exceptions import ValidationError


class Refusal(ValidationError):  # noqa: N818 (a refusal in the storekeeper's words, not a fault)
    """What the stores will not do, and how to mend it."""

    def __str__(self) -> str:
        return " ".join(self.messages)


class MoveRefused(Refusal):
    """A booking that cannot be; the message says what, where, and how to mend it."""


class OrderRefused(Refusal):
    """A change of an order or of what is written about a part that cannot be; the message says why and what to do."""


class TakesFromOthers(MoveRefused):
    """Parts that are set aside for others would be taken; ``sources`` are theirs, to be confirmed one by one."""

    def __init__(self, message: str, sources: dict[str, str], *, may_confirm: bool) -> None:
        super().__init__(message)
        self.sources = sources
        self.may_confirm = may_confirm
