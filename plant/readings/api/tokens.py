"""Who sends: the token in the header Authorization."""

from typing import cast

from django.http import HttpRequest
from ninja.security import HttpBearer

from plant.models import ReadingSource, SourceToken
from plant.readings.api.faults import BEARER, ApiFault
from plant.readings.source_tokens import find_token, note_use


class Token(HttpBearer):
    """Lets in the holder of a token that is not revoked, and no sign-in."""

    def authenticate(self, request: HttpRequest, token: str) -> SourceToken:
        """Return the token with its source. Raises ApiFault."""
        found = find_token(token.strip())
        if found is None:
            raise ApiFault(401, "The token is not known: see the page of the source.", headers=BEARER)
        if found.revoked_at is not None:
            message = f"The token that ends in {found.tail} was revoked: make a new one on the page of the source."
            raise ApiFault(401, message, headers=BEARER)
        if not found.source.is_active:
            raise ApiFault(403, f"The source {found.source.code} is switched off: switch it on on its page.")
        note_use(found)
        return found


def source_of(request: HttpRequest, purpose: SourceToken.Purpose) -> ReadingSource:
    """Return whom the token let in. Raises ApiFault where it is a token for something else."""
    token = cast(SourceToken, request.auth)  # type: ignore[attr-defined]
    if token.purpose != purpose:
        message = f"This token is for {token.purpose}, not for {purpose}: make another on the page of the source."
        raise ApiFault(403, message)
    return token.source
