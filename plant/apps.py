"""The ground storey: kilns, charges, crew, downtime."""

from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class PlantConfig(AppConfig):
    """What physically exists, where, and in what state."""

    name = "plant"
    verbose_name = _("plant")

    def ready(self) -> None:
        """Register the system checks, and the tasks of all storeys."""
        from plant import checks  # noqa: F401
        from plant.background.registry import load_tasks

        load_tasks()
