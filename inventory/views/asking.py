"""What the stores' views ask of a request."""

from datetime import date

from django.http import HttpRequest

from plant import clock
from plant.models import Mill, User

MOST_TYPED = 120


def user_of(request: HttpRequest) -> User:
    """Return who asks; every view behind ``needs`` has a user."""
    user = request.user
    if not isinstance(user, User):
        raise TypeError("a view without @needs asked for its user")
    return user


def today_of(request: HttpRequest) -> date:
    """Return the mill's calendar day. Raises Mill.DoesNotExist before a mill was loaded."""
    mill: Mill | None = getattr(request, "mill", None)
    return clock.today((mill or Mill.objects.current()).zone)


def typed(request: HttpRequest, name: str) -> str:
    """Return what was typed into a search: no longer than a name, without the one character PostgreSQL cannot keep."""
    return request.GET.get(name, "").replace("\x00", "").strip()[:MOST_TYPED]
