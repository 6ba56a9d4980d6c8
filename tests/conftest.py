"""What all tests share. The database is chosen in tests/databases.py, before anything reads the settings."""

import gc
import os
from collections.abc import Iterator
from typing import Any
from unittest.mock import patch

import pytest
from django.test import TransactionTestCase
from hypothesis import settings as hypothesis_settings

from tests.emptied import empty_again, keep_as_migrated

# How long an example takes is the machine's affair: no test fails by it.
hypothesis_settings.register_profile("kilnward", deadline=None)
hypothesis_settings.load_profile("kilnward")


def pytest_collection_finish() -> None:
    """Let the collector of garbage leave alone what all tests share: it took a tenth of their time to look at it."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 20)


@pytest.fixture(autouse=True)
def _quick_passwords(settings: Any) -> None:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture(autouse=True)
def _no_plan_of_another_test() -> None:
    """Forget plans that the process keeps: another test's database has the same keys for other rows."""
    from maintenance.plans.standing import forget

    forget()


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    """Drive the system's Chromium, without its background traffic."""
    flags = [
        "--no-sandbox",
        "--disable-gpu",
        "--disable-quic",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
    ]
    return {
        **browser_type_launch_args,
        "executable_path": os.environ.get("CHROMIUM", "/usr/bin/chromium"),
        "args": flags,
    }


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    """Empty the database after a test without a transaction as a flush cannot: ledgers lose no row to that."""
    with django_db_blocker.unblock():
        keep_as_migrated()
    with patch.object(TransactionTestCase, "_fixture_teardown", lambda case: empty_again()):
        yield
