"""How commands tell what a load found."""

from django.core.management.base import BaseCommand, CommandError

from maintenance.loading.faults import Report

MOST_LISTED = 500


def tell(command: BaseCommand, report: Report, what: str) -> None:
    """Print a report.

    Raises
    ------
    CommandError
        where something is at fault; the command ends with exit code 1.
    """
    for note in report.notes:
        command.stdout.write(f"Note: {note}")
    for warning in report.warnings:
        command.stdout.write(f"Warning: {warning}")
    for fault in report.faults[:MOST_LISTED]:
        command.stderr.write(str(fault))
    if len(report.faults) > MOST_LISTED:
        command.stderr.write(f"... and {len(report.faults) - MOST_LISTED} more.")
    if not report.is_sound:
        count = len(report.faults)
        raise CommandError(f"{count} {'fault' if count == 1 else 'faults'}: nothing was kept of {what}.")
    for name, counts in report.counts.items():
        command.stdout.write(f"{name:<18} {counts}")
