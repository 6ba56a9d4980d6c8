"""Run as ``python -m tests.plant.odd_driver`` with a test server's environment: lets somebody with every role sign in
and prints the session's key.
"""

import os

import django


def main() -> None:
    """Make the sign-in."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    django.setup()
    from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
    from django.contrib.sessions.backends.db import SessionStore

    from plant.access import Role
    from plant.models import Person, RoleHeld, User

    person = Person.objects.create(code="odd", name="Odd")
    user = User.objects.create_user("odd", password="fallow-bridge", person=person)
    RoleHeld.objects.bulk_create(RoleHeld(user=user, role=role) for role in Role)
    session = SessionStore()
    session[SESSION_KEY] = str(user.pk)
    session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
    session[HASH_SESSION_KEY] = user.get_session_auth_hash()
    session.create()
    print(session.session_key)  # noqa: T201


main()
