"""A mill whose kilns dried spruce before, and a page by which charges are planned."""

import html
import re
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.test import Client

from plant.models import Charge, Kiln, Mill, User
from tests.factories import MONDAY, ChargeFactory, UserFactory

HOUR = timedelta(hours=1)
DAY = 24 * HOUR
NOW = MONDAY + 2 * DAY
BACKEND = "django.contrib.auth.backends.ModelBackend"
WET, DRY = Decimal(70), Decimal(12)


def signed_in(role: str, name: str = "") -> Client:
    """Return a browser in which somebody of a role is signed in."""
    client = Client()
    client.force_login(UserFactory(username=name or role, role=role), backend=BACKEND)
    return client


def dried(kiln: Kiln, count: int = 4, days: float = 5, species: str = "spruce") -> None:
    """Let a kiln have dried so many charges, one after the other."""
    for n in range(count):
        begin_at = NOW - (n + 2) * 10 * DAY
        ChargeFactory(
            kiln=kiln,
            begin_at=begin_at,
            days=days + 0.2 * (n % 2),
            basis="done",
            species=species,
            initial_mc_pct=WET,
            final_mc_pct=DRY,
        )


def local(at: datetime) -> str:
    """Write an instant as a form does."""
    return at.astimezone(Mill.objects.current().zone).strftime("%Y-%m-%dT%H:%M")


def wish(kiln: Kiln, begin_at: datetime, **more: Any) -> dict[str, Any]:
    """Return what is typed into the form."""
    said = {"kiln": kiln.tag, "number": "26-1", "species": "spruce", "thickness_mm": 50, "volume_m3": "55"}
    said |= {"initial_mc_pct": "70", "final_mc_pct": "12", "begin_at": local(begin_at)}
    return {**said, "key": "6f0c4a52-92a5-4c0b-8a07-3f9a1f6f3a55", "seen": "", **more}


def field(page: str, name: str) -> str:
    """Return what stands in a field of a page."""
    found = re.search(rf'<input[^>]*name="{name}"[^>]*value="([^"]*)"', page)
    return html.unescape(found[1]) if found else ""


def sent(client: Client, address: str, said: dict[str, Any]) -> str:
    """Send a form, look at what follows, and put it on record."""
    page = client.post(address, said).content.decode()
    if not field(page, "seen"):
        return page
    return client.post(address, {**said, "seen": field(page, "seen")}, follow=True).content.decode()


def spans(kiln: Kiln) -> list[tuple[str, datetime, datetime]]:
    """Return the programme of a kiln from now on."""
    rows = Charge.objects.filter(kiln=kiln, end_at__gt=NOW).order_by("begin_at")
    return [(one.number, one.begin_at, one.end_at) for one in rows]


def user(name: str) -> User:
    """Return who is signed in by a name."""
    return User.objects.get(username=name)
