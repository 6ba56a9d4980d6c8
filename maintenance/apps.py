"""The planner's storey: checks, defects, work orders, the plan."""

from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class MaintenanceConfig(AppConfig):
    """Upkeep of the kilns."""

    name = "maintenance"
    verbose_name = _("upkeep")
