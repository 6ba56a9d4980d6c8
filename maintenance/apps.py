"""The planner's storey: checks, defects, work orders, the plan."""

from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class MaintenanceConfig(AppConfig):
    """Upkeep of the kilns."""

    name = "maintenance"
    verbose_name = _("upkeep")

    def ready(self) -> None:
        """Let watches look at what is settled."""
        from maintenance.actions.hearing import look_when_settled
        from plant.signals import readings_settled

        readings_settled.connect(look_when_settled, dispatch_uid="watches look")
