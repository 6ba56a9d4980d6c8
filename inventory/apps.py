"""The storekeeper's storey: parts, stock, orders."""

from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class InventoryConfig(AppConfig):
    """Parts and what lies on the shelf."""

    name = "inventory"
    verbose_name = _("stores")
