"""Secrets that let somebody in: made, found again by their digest, and ended. None is kept itself."""

import hashlib
import hmac
import secrets
from datetime import timedelta
from typing import TypeVar

from django.db.models import Q, QuerySet

from plant import clock
from plant.models import User
from plant.models.tokens import SecretToken

# 256 bits: a token cannot be guessed, so its digest needs no slow hash.
TOKEN_BYTES = 32
USED_EVERY = timedelta(minutes=1)
Token = TypeVar("Token", bound=SecretToken)


def digest_of(text: str) -> str:
    """Return what is kept of a token."""
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def make(kind: type[Token], *, by: User | None, **belongs_to: object) -> tuple[Token, str]:
    """Store a new token of a kind; its text is given back here and never again."""
    text = secrets.token_urlsafe(TOKEN_BYTES)
    facts = {"digest": digest_of(text), "tail": text[-4:], "made_at": clock.now(), "made_by": by}
    return kind._default_manager.create(**facts, **belongs_to), text


def find(tokens: QuerySet[Token], text: str) -> Token | None:
    """Return the token of this text among others, revoked or not."""
    digest = digest_of(text)
    found = tokens.filter(digest=digest).first()
    # The database compares as it likes, so here once more in constant time.
    return found if found and hmac.compare_digest(found.digest, digest) else None


def end(token: SecretToken, *, by: User | None) -> bool:
    """Let a locked token in no more; say whether it was still let in."""
    if token.revoked_at is not None:
        return False
    token.revoked_at, token.revoked_by = clock.now(), by
    token.save(update_fields=["revoked_at", "revoked_by"])
    return True


def note_use(token: SecretToken) -> None:
    """Keep when a token was last used, to the minute: not every use shall cost a write."""
    moment = clock.now()
    stale = Q(last_used_at__isnull=True) | Q(last_used_at__lt=moment - USED_EVERY)
    if token.last_used_at is None or token.last_used_at < moment - USED_EVERY:
        type(token)._default_manager.filter(stale, pk=token.pk).update(last_used_at=moment)
