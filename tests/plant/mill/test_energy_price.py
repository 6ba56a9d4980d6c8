"""What a kWh of heat costs is the mill's own figure, to the hundredth of a cent."""

from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction
from django.test import Client

from plant.models import Change, Mill
from tests.factories import MillFactory, UserFactory

BACKEND = "django.contrib.auth.backends.ModelBackend"
pytestmark = pytest.mark.django_db


def test_the_price_is_changed_in_the_mills_settings_and_kept_to_four_decimals(client: Client) -> None:
    MillFactory()
    client.force_login(UserFactory(username="ada", role="administrator"), backend=BACKEND)
    form = client.get("/mill/").context["form"]
    told = {name: form[name].value() for name in form.fields}
    assert told["energy_price_per_kwh"] == Decimal("0.08")
    refused = client.post("/mill/", {**told, "energy_price_per_kwh": "-0.01"})
    assert "energy_price_per_kwh" in refused.context["form"].errors
    assert client.post("/mill/", {**told, "energy_price_per_kwh": "0.0735"}).status_code == 302
    assert Mill.objects.get().energy_price_per_kwh == Decimal("0.0735")
    assert Change.objects.about(Mill.objects.get()).get().after == {"energy_price_per_kwh": "0.0735"}


def test_the_database_refuses_a_negative_price() -> None:
    mill = MillFactory()
    with pytest.raises(IntegrityError), transaction.atomic():
        Mill.objects.filter(pk=mill.pk).update(energy_price_per_kwh=Decimal("-0.01"))
