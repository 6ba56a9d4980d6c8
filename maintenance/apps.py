"""The planner's storey: checks, defects, work orders, the plan."""

from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class MaintenanceConfig(AppConfig):
    """Upkeep of the kilns."""

    name = "maintenance"
    verbose_name = _("upkeep")

    def ready(self) -> None:
        """Let watches look, people hear of places that change, pages warn of entry, and entry bar what would run."""
        from django.db.models.signals import post_delete, post_save

        from inventory import purposes
        from inventory.signals import issue_taken_back, set_aside_fell_short
        from maintenance.door.alarms import hear_readings, hear_report
        from maintenance.door.warnings import entry_warnings
        from maintenance.entry.now import bars_of_entry
        from maintenance.models import KilnStop, Placement
        from maintenance.orders.short_of_parts import describe_work, note_what_was_taken, set_aside_again
        from maintenance.plans.places_now import places_that_fail
        from maintenance.plans.standing import forget
        from maintenance.telling.places_told import want_telling_soon
        from maintenance.watches.hearing import look_when_settled
        from plant.signals import readings_came, readings_settled, runs_against_bar
        from plant.warnings import consequences, kiln_warnings, running_bars

        kiln_warnings.register(entry_warnings)
        running_bars.register(bars_of_entry)
        consequences.register(places_that_fail, forget)
        readings_came.connect(hear_readings, dispatch_uid="alarms hear readings")
        runs_against_bar.connect(hear_report, dispatch_uid="alarms hear reports")
        readings_settled.connect(look_when_settled, dispatch_uid="watches look")
        issue_taken_back.connect(set_aside_again, dispatch_uid="work has its parts set aside again")
        set_aside_fell_short.connect(note_what_was_taken, dispatch_uid="work is told that its parts are gone")
        purposes.register(describe_work)
        for changed in (post_save, post_delete):
            changed.connect(want_telling_soon, sender=Placement, dispatch_uid="people hear")
        # New lock-outs come in bulk, without a signal, but always in place of others or along with a place.
        post_delete.connect(want_telling_soon, sender=KilnStop, dispatch_uid="people hear of lock-outs")
