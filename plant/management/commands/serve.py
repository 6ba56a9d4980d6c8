"""``manage.py serve``: web, worker, and what listens to brokers, together."""

import errno
import http.client
import socket
import ssl
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import DEFAULT_DB_ALIAS, connection
from django.db import Error as DatabaseFault
from django.db.migrations.executor import MigrationExecutor

from plant.background.keeper import KeptElsewhereError
from plant.background.process import pid_of
from plant.background.supervise import Child, Supervisor

# Many who ask at once make pages slow, not silent.
KNOCK_S = 20.0
EVERYWHERE = {"0.0.0.0": "127.0.0.1", "::": "::1"}  # noqa: S104  where to knock when bound to all addresses


class Command(BaseCommand):
    """Serve the pages and do the background work until stopped."""

    help = "Serves the pages and does the background work, until it is told to end (Ctrl+C or SIGTERM)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Name address and port."""
        parser.add_argument("--host", default="127.0.0.1", help="address to listen on (default 127.0.0.1)")
        parser.add_argument("--port", type=int, default=8000, help="port to listen on (default 8000)")
        parser.add_argument("--no-worker", action="store_true", help="pages only, no background work")
        parser.add_argument("--no-web", action="store_true", help="background work only, no pages")
        parser.add_argument("--no-listen", action="store_true", help="no listening to brokers: see manage.py listen")

    def handle(
        self, *args: Any, host: str, port: int, no_worker: bool, no_web: bool, no_listen: bool, **options: Any
    ) -> None:
        """Check what can be checked first, then serve."""
        if no_worker and no_web:
            raise CommandError("Nothing is left to serve: give --no-worker or --no-web, not both.")
        require_database()
        if not no_web:
            require_certificate()
            require_port(host, port)
        web = None if no_web else Child("web", host, str(port))
        worker = None if no_worker else Child("worker")
        # Where the background work is done: of that there is one for each database, and so of listeners.
        listener = None if no_worker or no_listen else Child("listener")

        def tell() -> bool:
            if not answers(host, port):
                return False
            self.stdout.write(f"Kilnward answers at {address(host, port)}  (Ctrl+C ends it)")
            self.stdout.flush()
            return True

        def knock() -> bool:
            return answers(host, port, KNOCK_S)

        try:
            code = Supervisor(web, worker, tell, knock, listener).run()
        except KeptElsewhereError as fault:
            raise CommandError(
                f"The background work of this database is done by another server already (process {pid_of(str(fault))},"
                f" {fault}). End that one, or serve pages only with --no-worker."
            ) from None
        if code:
            raise SystemExit(code)


def require_database() -> None:
    """Refuse to start where the database is away or not up to date. Raises CommandError."""
    try:
        connection.ensure_connection()
        executor = MigrationExecutor(connection)
        plan = executor.migration_plan(executor.loader.graph.leaf_nodes())
    except DatabaseFault as fault:
        name = settings.DATABASES[DEFAULT_DB_ALIAS].get("NAME")
        raise CommandError(f"The database {name} does not answer: {fault}. Start it, or mend DATABASE_URL.") from None
    if plan:
        raise CommandError(f"The database is not up to date ({len(plan)} steps): run “manage.py migrate” first.")


def require_certificate() -> None:
    """Refuse half a certificate. Raises CommandError."""
    given = {"KILNWARD_CERTIFICATE": settings.CERTIFICATE, "KILNWARD_CERTIFICATE_KEY": settings.CERTIFICATE_KEY}
    if any(given.values()) and not all(given.values()):
        missing = next(name for name, value in given.items() if not value)
        raise CommandError(f"{missing} is missing: a certificate and its key go together.")
    for name, value in given.items():
        try:
            if value:
                Path(value).read_bytes()
        except OSError as fault:
            raise CommandError(f"{name} cannot be read: {fault}.") from None


def require_port(host: str, port: int) -> None:
    """Refuse an address that cannot be listened on. Raises CommandError."""
    try:
        family, kind, protocol, _name, where = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        with socket.socket(family, kind, protocol) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(where)
    except (OSError, OverflowError) as fault:
        if isinstance(fault, OSError) and fault.errno == errno.EADDRINUSE:
            raise CommandError(f"Port {port} is in use: end what listens there, or choose another --port.") from None
        raise CommandError(f"Cannot listen on {host}, port {port}: {fault}.") from None


def address(host: str, port: int) -> str:
    """Return what to type into a browser."""
    host = EVERYWHERE.get(host, host)
    return f"{'https' if settings.CERTIFICATE else 'http'}://{f'[{host}]' if ':' in host else host}:{port}/"


def answers(host: str, port: int, within_s: float = 2.0) -> bool:
    """Say whether the pages answer."""
    host = EVERYWHERE.get(host, host)
    knock: http.client.HTTPConnection
    if settings.CERTIFICATE:
        # Only asks itself whether it is up: whose certificate it is does not matter here.
        trusting = ssl._create_unverified_context()  # noqa: S323
        knock = http.client.HTTPSConnection(host, port, timeout=within_s, context=trusting)
    else:
        knock = http.client.HTTPConnection(host, port, timeout=within_s)
    try:
        knock.request("GET", "/alive/", headers={"Host": "localhost"})
        return knock.getresponse().status < 500
    except (OSError, http.client.HTTPException):
        return False
    finally:
        knock.close()
