"""Stores for tests: parts with terms, and somebody who signs in."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

from django.test import Client

from inventory.actions import receive, reserve
from inventory.advice import refresh_advice
from inventory.models import Part, Supplier
from plant import clock
from plant.models import User
from tests.factories import MillFactory, PartFactory, SupplierFactory, SupplierTermsFactory, UserFactory

BACKEND = "django.contrib.auth.backends.ModelBackend"


def mill_today() -> date:
    """The mill's calendar day."""
    return clock.today(MillFactory().zone)


def keeper() -> User:
    """Bo, who keeps the store."""
    return UserFactory(username="bo", role="storekeeper")


def signed_in(client: Client, role: str = "storekeeper") -> Client:
    """Let somebody with the role sign in."""
    MillFactory()
    user = keeper() if role == "storekeeper" else UserFactory(username=f"a-{role}", role=role)
    client.force_login(user, backend=BACKEND)
    return client


def kept_part(code: str = "wick-300", *, on_hand: int = 0, supplier: Supplier | None = None, **values: Any) -> Part:
    """A part with terms and so many on the shelf."""
    MillFactory()
    part = PartFactory(code=code, **values)
    SupplierTermsFactory(part=part, supplier=supplier or SupplierFactory())
    if on_hand:
        receive(part, Decimal(on_hand), by=None, key=uuid4())
    return part


def wanted_part(code: str = "wick-300", *, on_hand: int = 14, wanted: int = 18, **values: Any) -> Part:
    """A part of which work soon asks for more than there is."""
    part = kept_part(code, on_hand=on_hand, **values)
    reserve(part, Decimal(wanted), mill_today() + timedelta(days=5), f"WO-{part.pk:04d}", "K2: Change the wicks")
    refresh_advice(mill_today(), [part])
    return part
