"""Tokens with which other systems are let in to send readings: none is kept or put in the history, only its digest."""

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from plant.access import require
from plant.frame import tokens
from plant.frame.tokens import note_use
from plant.models import Change, ReadingSource, SourceToken, User

__all__ = ["find_token", "make_token", "note_use", "revoke_token"]


@transaction.atomic
def make_token(
    source: ReadingSource, *, by: User | None, purpose: str = SourceToken.Purpose.READINGS
) -> tuple[SourceToken, str]:
    """Make a token for a source that sends, for one kind of thing; the text is given back here and never again."""
    require(by, "edit sources")
    if source.way != ReadingSource.Way.SENDS:
        raise ValidationError(_("%(source)s does not send by itself: it needs no token.") % {"source": source})
    if purpose not in SourceToken.Purpose.values:
        raise ValidationError(_("Choose what the token is for."))
    if purpose == SourceToken.Purpose.CHARGES:
        # What it plans and tells, the maker could too.
        require(by, "plan charges")
    token, text = tokens.make(SourceToken, by=by, source=source, purpose=purpose)
    Change.record(source, "token made", by=by, after={"ends_in": token.tail, "for": purpose})
    return token, text


@transaction.atomic
def revoke_token(token: SourceToken, *, by: User | None) -> bool:
    """Let a token in no more, from now on; say whether it was still let in."""
    require(by, "edit sources")
    token = SourceToken.objects.select_for_update(of=("self",)).select_related("source").get(pk=token.pk)
    if not tokens.end(token, by=by):
        return False
    Change.record(token.source, "token revoked", by=by, before={"ends_in": token.tail})
    return True


def find_token(text: str) -> SourceToken | None:
    """Return the token of this text with its source, revoked or not."""
    return tokens.find(SourceToken.objects.select_related("source"), text)
