"""A database of the benchmarks' own: empty, migrated, thrown away at the end; never the user's."""

import atexit
import contextlib
import os
from collections.abc import Iterator

import django
import pytest
from django.conf import settings

from tests.benchmarks.harness import BenchmarkError


def set_up_django() -> None:
    """Point the settings at nothing of the user's, as the tests do; TEST_DB chooses the database."""
    if settings.configured:
        return
    # Reading this module chooses the database and a folder for the data.
    try:
        from tests import databases
    except pytest.UsageError as refusal:
        raise BenchmarkError(str(refusal)) from refusal
    atexit.register(databases.pytest_unconfigure)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    django.setup()


@contextlib.contextmanager
def own_database() -> Iterator[None]:
    """Work on an empty database; what is written into it vanishes."""
    set_up_django()
    from django.test.utils import setup_databases, setup_test_environment, teardown_databases, teardown_test_environment

    setup_test_environment(debug=False)
    try:
        made = setup_databases(verbosity=0, interactive=False)
        try:
            yield
        finally:
            teardown_databases(made, verbosity=0)
    finally:
        teardown_test_environment()


@contextlib.contextmanager
def undone() -> Iterator[None]:
    """Take back whatever is written inside."""
    from django.db import transaction

    with transaction.atomic():
        yield
        transaction.set_rollback(True)
