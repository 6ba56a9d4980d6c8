"""What the stores refuse, in the storekeeper's words."""


class MoveRefused(ValueError):  # noqa: N818 (a refusal in the storekeeper's words, not a fault)
    """A booking that cannot be; the message says what, where, and how to mend it."""


class TakesFromOthers(MoveRefused):
    """Parts that are set aside for others would be taken; ``sources`` are theirs, to be confirmed one by one."""

    def __init__(self, message: str, sources: dict[str, str], *, may_confirm: bool) -> None:
        super().__init__(message)
        self.sources = sources
        self.may_confirm = may_confirm
