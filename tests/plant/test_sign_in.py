"""Signing in: behind a proxy, against guessing, and for as long as the device allows."""

import sys
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from axes.models import AccessAttempt
from django.contrib.sessions.models import Session
from django.test import Client
from django.utils import timezone

from config import sign_in
from tests.factories import MillFactory, UserFactory
from tests.plant.proxy import Browser, Proxy
from tests.plant.serving import Server

PASSWORD = "fallow-bridge"
MAKE = (
    "from plant.models import Person, RoleHeld, User\n"
    "person = Person.objects.create(code='oda', name='Oda')\n"
    "user = User.objects.create_user('oda', password='fallow-bridge', person=person)\n"
    "RoleHeld.objects.create(user=user, role='planner')\n"
)


@pytest.fixture
def behind_proxy(receiver: Server) -> Iterator[Proxy]:
    """Give a proxy with a mill behind it, in which Oda may sign in."""
    receiver.environ["KILNWARD_PROXIES"] = "127.0.0.1"
    made = receiver.manage("shell", "-v0", "-c", MAKE)
    assert made.returncode == 0, made.stderr
    receiver.start("--no-worker")
    proxy = Proxy(receiver.port)
    yield proxy
    proxy.end()
    assert receiver.stop() == 0


@pytest.mark.skipif(sys.platform != "linux", reason="has many loopback addresses")
def test_behind_a_proxy_a_guesser_locks_out_only_the_own_address(behind_proxy: Proxy) -> None:
    guesser, oda = (Browser(behind_proxy.port, address) for address in ("127.0.0.2", "127.0.0.3"))
    assert [guesser.sign_in("oda", "guess") for _ in range(5)] == [200, 200, 200, 200, 429]
    # Whatever it says of itself, the proxy knows better.
    assert guesser.sign_in("oda", PASSWORD, **{"X-Forwarded-For": "127.0.0.3"}) == 429
    assert oda.sign_in("oda", PASSWORD) == 302

    status, headers, _text = oda.ask("GET", "/my-work/")
    assert (status, "max-age=" in headers["Strict-Transport-Security"]) == (200, True)
    page = oda.ask("GET", "/my-work/calendar/")[2]
    token = page.split('name="csrfmiddlewaretoken" value="')[1].split('"')[0]
    referer = {"Referer": "https://localhost/my-work/calendar/"}
    secret = oda.ask("POST", "/my-work/calendar/", f"csrfmiddlewaretoken={token}", **referer)[2]
    assert "https://localhost/calendar/" in secret
    assert "http://localhost" not in secret


@pytest.mark.django_db
def test_many_names_tried_from_one_address_are_slowed_but_not_on_a_device_that_is_known(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    user = UserFactory(role="planner")
    user.set_password(PASSWORD)
    user.save()
    mine = {"username": user.username, "password": PASSWORD}
    assert client.post("/sign-in/", mine).status_code == 302
    client.post("/sign-out/")
    guesser = Client()
    statuses = [guesser.post("/sign-in/", {"username": f"name-{n}", "password": "x"}).status_code for n in range(12)]
    assert statuses[: sign_in.SLIPS] == [200] * sign_in.SLIPS
    assert statuses[-1] == 429
    # The right password from an unknown device waits too; where its owner signed in before it counts.
    answer = Client().post("/sign-in/", mine)
    assert (answer.status_code, int(answer["Retry-After"]) >= 1) == (429, True)
    assert client.post("/sign-in/", mine).status_code == 302
    # The wait grows, ends, and is never longer than a minute.
    AccessAttempt.objects.update(attempt_time=timezone.now() - timedelta(seconds=61))
    AccessAttempt.objects.filter(username="name-0").update(failures_since_start=500)
    assert Client().post("/sign-in/", mine).status_code == 302


def _session() -> Session:
    return Session.objects.get()


@pytest.mark.django_db
@pytest.mark.parametrize(("said", "minutes"), [({}, 12 * 60), ({"is_shared": "on"}, 15)])
def test_a_sign_in_ends_after_a_time_without_use_sooner_on_a_shared_device(
    client: Client, said: dict[str, str], minutes: int
) -> None:
    MillFactory()
    user = UserFactory(role="planner")
    user.set_password(PASSWORD)
    user.save()
    client.post("/sign-in/", {"username": user.username, "password": PASSWORD, **said})
    assert abs(_session().expire_date - timezone.now() - timedelta(minutes=minutes)) < timedelta(minutes=1)

    def ask_after_long(**headers: Any) -> Any:
        """Ask for a page when the last use is nearly too long ago, and say whether that renewed the sign-in."""
        session = client.session
        session["used_s"] = session.get("used_s", 0) - minutes * 50
        session.save()
        soon = timezone.now() + timedelta(seconds=30)
        Session.objects.update(expire_date=soon)
        assert client.get("/kilns/", headers=headers).status_code == 200
        return _session().expire_date > soon

    assert ask_after_long()
    # A page left open asks for its news again and again: nobody need be there.
    assert not ask_after_long(**{"X-Unattended": "1"})
    Session.objects.update(expire_date=timezone.now() - timedelta(seconds=1))
    assert client.get("/kilns/").status_code == 302
