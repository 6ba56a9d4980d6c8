"""New parts, bins and suppliers, and quantities that a supplier does not deliver."""

from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client

from inventory.actions import OrderRefused, order_part, parts
from inventory.actions.parts import add_bin, add_supplier
from inventory.models import Bin, Part, Supplier, SupplierTerms
from inventory.words import quantity_warning
from plant.models import Change
from tests.factories import BinFactory, ComponentKindFactory, PartFactory, SupplierFactory, UserFactory
from tests.inventory.storeroom_things import keeper, kept_part, signed_in

pytestmark = pytest.mark.django_db


def new_part(client: Client, **changed: Any) -> Any:
    told = {
        "code": "fan-belt-a52",
        "name": "fan belt A52",
        "bin": BinFactory(code="B-1").pk,
        "unit": "piece",
        "criticality": "stops",
        "shelf_life_days": "",
        "fits": [ComponentKindFactory().pk],
    }
    return client.post("/stores/new-part/", {**told, **changed})


def test_a_new_part_is_on_record_with_its_history(client: Client) -> None:
    signed_in(client)
    answer = new_part(client)
    made = Part.objects.get(code="fan-belt-a52")
    assert answer["Location"] == made.get_absolute_url()
    assert (made.criticality, made.fits.count(), made.is_active) == ("stops", 1, True)
    assert Change.objects.about(made).get().after["name"] == "fan belt A52"
    page = client.get(made.get_absolute_url()).content.decode()
    assert "Enter who delivers it" in page
    assert "Nothing lies on the shelf" in page


@pytest.mark.parametrize("code", ["fan-belt-a52", "FAN-BELT-A52"])
def test_a_code_that_is_taken_is_refused_in_words_that_name_its_part(client: Client, code: str) -> None:
    PartFactory(code="fan-belt-a52", name="old belt")
    signed_in(client)
    page = new_part(client, code=code).content.decode()
    assert "fan-belt-a52 stands for old belt already. Choose another code." in page
    assert 'value="fan belt A52"' in page, "what was typed stays"
    assert Part.objects.count() == 1


def test_a_code_with_a_space_is_explained(client: Client) -> None:
    signed_in(client)
    page = new_part(client, code="fan belt").content.decode()
    assert "without a space" in page
    assert "slug" not in page
    assert not Part.objects.exists()


def test_a_new_bin_and_a_new_supplier_are_on_record(client: Client) -> None:
    signed_in(client)
    assert client.post("/stores/new-bin/", {"code": "C-7", "place": "steel cabinet"}).status_code == 302
    told = {"code": "hartwell", "name": "Hartwell Bearings", "email": "", "phone": "+44 1632 960 100"}
    assert client.post("/stores/new-supplier/", told).status_code == 302
    assert Bin.objects.get().place == "steel cabinet"
    assert Change.objects.about(Supplier.objects.get()).get().after["phone"] == "+44 1632 960 100"


def test_codes_of_bins_and_suppliers_stand_for_one_each(client: Client) -> None:
    BinFactory(code="C-7", place="steel cabinet")
    SupplierFactory(code="hartwell", name="Hartwell Bearings")
    signed_in(client)
    again = client.post("/stores/new-bin/", {"code": "c-7", "place": ""}).content.decode()
    assert "C-7 stands for steel cabinet already" in again
    again = client.post("/stores/new-supplier/", {"code": "hartwell", "name": "Another"}).content.decode()
    assert "hartwell stands for Hartwell Bearings already" in again


def test_who_took_the_code_a_moment_ago_is_named_too(monkeypatch: pytest.MonkeyPatch) -> None:
    said = iter(["", "C-7 stands for steel cabinet already. Choose another code."])
    monkeypatch.setattr(parts, "taken_code", lambda model, code: next(said))
    BinFactory(code="C-7")
    with pytest.raises(OrderRefused, match="steel cabinet"):
        add_bin("C-7", {"place": ""}, by=keeper())


@pytest.mark.parametrize("role", ["technician", "planner", "auditor"])
def test_only_who_may_edit_parts_sees_the_forms(client: Client, role: str) -> None:
    user = UserFactory(username="x", role=role)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    for what in ("part", "bin", "supplier"):
        assert client.get(f"/stores/new-{what}/").status_code == 403
    with pytest.raises(PermissionDenied):
        add_supplier("x", {"name": "x"}, by=user)


def test_the_stores_lead_to_the_forms(client: Client) -> None:
    signed_in(client)
    page = client.get("/stores/").content.decode()
    for what in ("part", "bin", "supplier"):
        assert f'href="/stores/new-{what}/"' in page


@pytest.mark.parametrize(
    ("ordered", "warning"),
    [
        ("20", ""),
        ("25", "It comes in packs of 10: order 20 or 30."),
        ("10", "The supplier delivers no less than 20."),
        ("5", "The supplier delivers no less than 20. It comes in packs of 10: order at least one."),
        ("12.5", "The supplier delivers no less than 20. It comes in packs of 10: order 10 or 20."),
    ],
)
def test_a_quantity_that_is_not_delivered_so_is_said(ordered: str, warning: str) -> None:
    terms = SupplierTerms(pack_size=Decimal(10), least_order=Decimal(20))
    assert quantity_warning(Decimal(ordered), terms) == warning


def test_an_order_with_half_packs_warns_but_is_not_refused(client: Client) -> None:
    part = kept_part("rivet", on_hand=0)
    SupplierTerms.objects.filter(part=part).delete()
    supplier = SupplierFactory(code="hartwell")
    SupplierTerms.objects.create(part=part, supplier=supplier, lead_time_days=3, pack_size=50, unit_price=1)
    line = order_part(part, Decimal(75), keeper())
    signed_in(client)
    url = line.order.get_absolute_url()
    assert "It comes in packs of 50: order 50 or 100." in client.get(url).content.decode()
    sent = {"lines-version": line.order.version, f"lines-line_{line.pk}": "100"}
    line.order.refresh_from_db()
    sent["lines-version"] = line.order.version
    assert client.post(f"{url}quantities/", sent).status_code == 302
    assert "It comes in packs" not in client.get(url).content.decode()
