"""What many rows of upkeep can answer."""

from typing import TYPE_CHECKING

from django.db import models

if TYPE_CHECKING:
    from maintenance.models import Defect, FunctionCheck, StandingTask, WorkOrder  # noqa: F401

FINISHED_STATES = ("done", "signed_off", "withdrawn")


class WorkOrderQuerySet(models.QuerySet["WorkOrder"]):
    """Work orders."""

    def unfinished(self) -> "WorkOrderQuerySet":
        """Work that is still to be done."""
        return self.exclude(state__in=FINISHED_STATES)


class StandingTaskQuerySet(models.QuerySet["StandingTask"]):
    """Standing tasks."""

    def in_use(self) -> "StandingTaskQuerySet":
        """Only standing tasks that recur."""
        return self.filter(is_active=True)


class FunctionCheckQuerySet(models.QuerySet["FunctionCheck"]):
    """Function checks."""

    def under_way(self) -> "FunctionCheckQuerySet":
        """Checks that are not complete."""
        return self.filter(completed_at__isnull=True, withdrawn_at__isnull=True)


class DefectQuerySet(models.QuerySet["Defect"]):
    """Defects."""

    def not_cured(self) -> "DefectQuerySet":
        """Defects that still exist."""
        return self.filter(cured_at__isnull=True)

    def blocking_entry(self) -> "DefectQuerySet":
        """Defects that keep everybody out of the chamber."""
        return self.not_cured().filter(blocks_entry=True)
