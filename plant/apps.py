"""The ground storey: kilns, charges, crew, downtime."""

from pathlib import Path
from typing import Any

from django.apps import AppConfig
from django.db.backends.signals import connection_created
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
        connection_created.connect(_keep_to_its_owner, dispatch_uid="database file of its owner")


def _keep_to_its_owner(connection: Any, **kwargs: Any) -> None:
    """Let nobody else on the machine read the database's file; those beside it take its mode."""
    if connection.vendor != "sqlite":
        return
    file = Path(str(connection.settings_dict["NAME"]))
    if file.is_file() and file.stat().st_mode & 0o077:
        file.chmod(0o600)
