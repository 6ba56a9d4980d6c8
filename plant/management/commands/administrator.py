"""Give the first sign-in of an empty database."""

import secrets
from argparse import ArgumentParser
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connection, transaction
from django.db.migrations.recorder import MigrationRecorder
from django.utils.text import slugify

from plant.access import Role
from plant.models import Person, User
from plant.people.keeping import add_person
from plant.people.sign_ins import give_sign_in


class Command(BaseCommand):
    """``manage.py administrator NAME``."""

    help = "Put the first administrator on record and print a first password; everybody else comes by the pages."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the name to sign in with."""
        parser.add_argument("username", help="the name to sign in with, for example anna")
        parser.add_argument("--name", default="", help="the person's name; else the same")

    def handle(self, *args: Any, **options: Any) -> None:
        """Refuse where somebody is administrator already: a second one is a matter of the pages."""
        username, password = options["username"], secrets.token_urlsafe(12)
        # The tables of a new mill are made here; those of a mill at work are brought up to date by whoever keeps it.
        if not MigrationRecorder(connection).applied_migrations():
            call_command("migrate", verbosity=0, interactive=False)
        with transaction.atomic():
            if User.objects.filter(is_active=True, roles_held__role=Role.ADMINISTRATOR).exists():
                raise CommandError(
                    "An administrator is on record already: further sign-ins are given on the page of each person. "
                    "A lost password: manage.py changepassword NAME."
                )
            code = slugify(username)[:20]
            if not code or Person.objects.filter(code=code).exists():
                raise CommandError(f"“{username}” will not do: choose a name of letters or digits that nobody has.")
            person = add_person({"code": code, "name": options["name"] or username}, by=None)
            try:
                give_sign_in(person, username, password, [Role.ADMINISTRATOR], by=None)
            except ValidationError as refusal:
                raise CommandError(" ".join(refusal.messages)) from None
        self.stdout.write(f"{username} signs in with {password} and then chooses a password of their own.")
