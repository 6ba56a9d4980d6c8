"""The way in on a source's page: tokens made, shown once and revoked; the broker, and what could not be read."""

import re
import shlex
from html import unescape
from typing import Any

import pytest
from django.test import Client

from plant import clock
from plant.basics.sentences import typed
from plant.models import Channel, ChannelName, FileIntake, ReadingSource, SourceToken
from tests.factories import UserFactory
from tests.plant.sending import Sender, sending_mill

pytestmark = pytest.mark.django_db
PAGE = "/readings/sources/controller/"


@pytest.fixture
def sender() -> Sender:
    """Set up the mill."""
    return sending_mill()


def signed_in(role: str) -> Client:
    client = Client()
    client.force_login(UserFactory(username=role, role=role), backend="django.contrib.auth.backends.ModelBackend")
    return client


def page(client: Client, address: str = PAGE) -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    return unescape(answer.content.decode())


def test_a_token_is_shown_in_the_answer_that_made_it_and_never_again(sender: Sender) -> None:
    client = signed_in("kiln_master")
    answer = client.post(f"{PAGE}tokens/")
    assert answer.status_code == 200
    assert "no-store" in answer["Cache-Control"]
    shown = re.search(r'readonly value="([^"]+)"', answer.content.decode())
    assert shown
    text = shown[1]
    assert Sender(sender.source, sender.token, text).send().status_code == 200
    again = page(client)
    assert text not in again
    assert f"…{text[-4:]}" in again
    assert "kiln_master" in again
    assert SourceToken.objects.latest("pk").made_by.username == "kiln_master"  # type: ignore[union-attr]


def test_revoking_asks_first_and_counts_at_once(sender: Sender) -> None:
    client = signed_in("kiln_master")
    address = f"{PAGE}tokens/{sender.token.pk}/revoke/"
    assert "never let in again" in page(client)
    assert client.get(address).status_code == 405
    assert sender.send().status_code == 200
    answer = client.post(address, follow=True)
    assert f"ends in {sender.token.tail} is revoked" in answer.content.decode()
    assert sender.send().status_code == 401
    assert "was revoked before" in client.post(address, follow=True).content.decode()
    assert "never let in again" not in page(client)


def test_a_token_of_another_source_is_not_found(sender: Sender) -> None:
    ReadingSource.objects.create(code="other", name="Other", way="sends")
    client = signed_in("kiln_master")
    assert client.post(f"/readings/sources/other/tokens/{sender.token.pk}/revoke/").status_code == 404
    assert client.post("/readings/sources/none/tokens/").status_code == 404
    assert SourceToken.objects.get().revoked_at is None


@pytest.mark.parametrize("role", ["technician", "auditor", "planner"])
def test_others_see_who_has_a_token_but_make_and_revoke_none(sender: Sender, role: str) -> None:
    client = signed_in(role)
    shown = page(client)
    assert f"…{sender.token.tail}" in shown
    assert "Make a token" not in shown
    assert client.post(f"{PAGE}tokens/").status_code == 403
    assert client.post(f"{PAGE}tokens/{sender.token.pk}/revoke/").status_code == 403
    assert SourceToken.objects.get().revoked_at is None


def test_a_source_that_reads_files_gets_no_token(sender: Sender) -> None:
    ReadingSource.objects.update(way="files")
    answer = signed_in("kiln_master").post(f"{PAGE}tokens/", follow=True)
    assert "it needs no token" in answer.content.decode()
    assert SourceToken.objects.count() == 1


def test_the_example_can_be_sent_as_it_stands(sender: Sender) -> None:
    name = ChannelName.objects.get()
    name.name = 'dry "bulb" of Kim\'s kiln, °'
    name.save()
    command = re.search(r'<pre class="example"[^>]*>(.*?)</pre>', page(signed_in("kiln_master")), re.DOTALL)
    assert command
    words = shlex.split(command[1].replace("\\\n", " "))
    assert words[3] == "http://testserver/api/readings"
    assert words[-2] == "-d"
    assert sender.post(words[-1].encode()).json() == {"new": 1, "known": 0, "differing": 0}


def test_the_example_names_a_channel_in_use_or_how_one_is_named(sender: Sender) -> None:
    ChannelName.objects.all().delete()
    client = signed_in("kiln_master")
    assert "K1/air_temperature:left" in page(client)
    Channel.objects.all().delete()
    assert "K1/wet_bulb:left" in page(client)


def test_the_list_of_tokens_costs_a_constant_number_of_queries(
    sender: Sender, django_assert_num_queries: Any, django_assert_max_num_queries: Any
) -> None:
    client = signed_in("kiln_master")
    client.post(f"{PAGE}tokens/")
    with django_assert_max_num_queries(40) as few:
        page(client)
    count = len(few)
    for _ in range(5):
        client.post(f"{PAGE}tokens/")
    SourceToken.objects.update(last_used_at=clock.now())
    with django_assert_num_queries(count):
        page(client)


def test_a_brokers_page_says_where_the_password_comes_from_and_what_could_not_be_read(
    sender: Sender, monkeypatch: pytest.MonkeyPatch
) -> None:
    source = ReadingSource.objects.create(
        code="kiln-loggers", name="L", way="broker", broker_host="broker.mill", broker_topic="mill/#", broker_user="u"
    )
    client = signed_in("technician")
    address = "/readings/sources/kiln-loggers/"
    shown = page(client, address)
    assert "broker.mill:1883" in shown
    assert "missing: give it in <code>KILNWARD_BROKER_PASSWORD_KILN_LOGGERS</code>" in shown
    assert "None. A message that cannot be read" in shown
    monkeypatch.setenv("KILNWARD_BROKER_PASSWORD_KILN_LOGGERS", "hush-hush")
    FileIntake.objects.create(
        source=source,
        file_name="mill/odd",
        digest="d",
        at=clock.now(),
        is_taken_in=False,
        read=7,
        faults=typed("No number."),
    )
    shown = page(client, address)
    assert "comes from the environment" in shown
    assert "hush-hush" not in shown
    assert "mill/odd" in shown
    assert "No number." in shown
