"""A broker of Debian's package mosquitto for tests, on a port of its own."""

import os
import shutil
import socket
import subprocess
from collections.abc import Sequence
from pathlib import Path

import pytest
from paho.mqtt import publish

from tests.plant.serving import until

USER, PASSWORD = "kilnward", "not-a-secret"
MOSQUITTO = shutil.which("mosquitto", path=f"{os.environ['PATH']}:/usr/sbin")
MESSAGES = Sequence[tuple[str, str | bytes]]


def require_mosquitto() -> None:
    """Skip without mosquitto; but in CI a broker that is missing is a fault."""
    if MOSQUITTO is None:
        missing = "mosquitto is missing: install Debian's package of that name."
        if os.environ.get("CI"):
            pytest.fail(missing)
        pytest.skip(missing)


class Broker:
    """A running broker; it keeps what nobody has heard yet in its memory."""

    def __init__(self, folder: Path, port: int) -> None:
        require_mosquitto()
        assert MOSQUITTO is not None
        self.port = port
        passwords = folder / "passwords"
        maker = shutil.which("mosquitto_passwd") or "mosquitto_passwd"
        subprocess.run([maker, "-b", "-c", passwords, USER, PASSWORD], check=True, capture_output=True)
        config = folder / "mosquitto.conf"
        lines = [
            f"listener {self.port} 127.0.0.1",
            f"password_file {passwords}",
            "allow_anonymous false",
            # As root it would become somebody who may not read the passwords.
            *(["user root"] if os.geteuid() == 0 else []),
            "max_queued_messages 0",
        ]
        config.write_text("\n".join(lines) + "\n")
        self.process = subprocess.Popen([MOSQUITTO, "-c", config], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        until(self.answers, "the broker answers", 15)

    def answers(self) -> bool:
        """Say whether it answers."""
        assert self.process.poll() is None, "the broker ended"
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0

    def publish(self, messages: MESSAGES, *, qos: int = 1, is_retained: bool = False) -> None:
        """Publish messages and wait until the broker has acknowledged each."""
        publish.multiple(
            [{"topic": topic, "payload": payload, "qos": qos, "retain": is_retained} for topic, payload in messages],
            hostname="127.0.0.1",
            port=self.port,
            auth={"username": USER, "password": PASSWORD},
        )

    def end(self) -> None:
        """End it."""
        self.process.terminate()
        self.process.wait(15)
