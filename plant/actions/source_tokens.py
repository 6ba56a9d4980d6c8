"""Tokens with which other systems are let in to send readings: none is kept or put in the history, only its digest."""

import hashlib
import hmac
import secrets
from datetime import timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from plant import clock
from plant.access import require
from plant.models import Change, ReadingSource, SourceToken, User

# 256 bits: a token cannot be guessed, so its digest needs no slow hash.
TOKEN_BYTES = 32
USED_EVERY = timedelta(minutes=1)


def digest_of(token: str) -> str:
    """Return what is kept of a token."""
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()


@transaction.atomic
def make_token(source: ReadingSource, *, by: User | None) -> tuple[SourceToken, str]:
    """Make a token for a source that sends; the text is given back here and never again."""
    require(by, "edit sources")
    if source.way != ReadingSource.Way.SENDS:
        raise ValidationError(_("%(source)s does not send by itself: it needs no token.") % {"source": source})
    text = secrets.token_urlsafe(TOKEN_BYTES)
    token = SourceToken.objects.create(
        source=source, digest=digest_of(text), tail=text[-4:], made_at=clock.now(), made_by=by
    )
    Change.record(source, "token made", by=by, after={"ends_in": token.tail})
    return token, text


@transaction.atomic
def revoke_token(token: SourceToken, *, by: User | None) -> bool:
    """Let a token in no more, from now on; say whether it was still let in."""
    require(by, "edit sources")
    token = SourceToken.objects.select_for_update(of=("self",)).select_related("source").get(pk=token.pk)
    if token.revoked_at is not None:
        return False
    token.revoked_at, token.revoked_by = clock.now(), by
    token.save(update_fields=["revoked_at", "revoked_by"])
    Change.record(token.source, "token revoked", by=by, before={"ends_in": token.tail})
    return True


def find_token(text: str) -> SourceToken | None:
    """Return the token of this text with its source, revoked or not."""
    digest = digest_of(text)
    found = SourceToken.objects.select_related("source").filter(digest=digest).first()
    # The database compares as it likes, so here once more in constant time.
    return found if found and hmac.compare_digest(found.digest, digest) else None


def note_use(token: SourceToken) -> None:
    """Keep when a token was last used, to the minute: not every body shall cost a write."""
    moment = clock.now()
    stale = Q(last_used_at__isnull=True) | Q(last_used_at__lt=moment - USED_EVERY)
    if token.last_used_at is None or token.last_used_at < moment - USED_EVERY:
        SourceToken.objects.filter(stale, pk=token.pk).update(last_used_at=moment)
