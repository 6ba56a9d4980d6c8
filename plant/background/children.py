"""What the server starts: web server, worker, and what listens to brokers, each a process with its descendants.

Run as ``python -m plant.background.children worker PARENT``, ``listener PARENT``, ``web PARENT HOST PORT`` or, by a
task that needs a process of its own, ``command PARENT NAME ARGUMENT ...``.
"""

import multiprocessing
import os
import sys
from pathlib import Path

from plant.background.process import die_with_parent, die_with_parent_in_every_fork

HEAD_WITHIN_MS = 15_000


def worker() -> None:
    """Run the cluster of django-q2 until it is told to end."""
    import django

    django.setup()
    from django_q.cluster import Cluster

    Cluster().start()


def web(host: str, port: int) -> None:
    """Run granian until it is told to end."""
    from django.conf import settings
    from granian import Granian
    from granian.constants import Interfaces
    from granian.http import HTTP1Settings
    from granian.log import LogLevels

    # Forked workers get the promise to die with their parent; spawned ones would not.
    multiprocessing.set_start_method("fork")
    Granian(
        "config.asgi:application",
        address=host,
        port=port,
        interface=Interfaces.ASGI,
        websockets=False,
        workers=settings.WEB_WORKERS,
        # A head that does not come to its end, or a line that nothing more is asked on, is given up.
        http1_settings=HTTP1Settings(header_read_timeout=HEAD_WITHIN_MS),
        respawn_failed_workers=True,
        workers_kill_timeout=max(1, settings.STOP_S - 2),
        log_level=LogLevels.warning,
        ssl_cert=Path(settings.CERTIFICATE) if settings.CERTIFICATE else None,
        ssl_key=Path(settings.CERTIFICATE_KEY) if settings.CERTIFICATE_KEY else None,
    ).serve()


def listener() -> None:
    """Listen to the brokers until it is told to end."""
    import django

    django.setup()
    from django.core.management import call_command

    call_command("listen")


def command(arguments: list[str]) -> None:
    """Run a management command."""
    from django.core.management import execute_from_command_line

    execute_from_command_line(["manage.py", *arguments])


def main(arguments: list[str]) -> None:
    """Start one of them."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    role, parent, *rest = arguments
    die_with_parent(int(parent))
    die_with_parent_in_every_fork()
    if role == "web":
        web(rest[0], int(rest[1]))
    elif role == "listener":
        listener()
    elif role == "command":
        command(rest)
    else:
        worker()


if __name__ == "__main__":
    main(sys.argv[1:])
