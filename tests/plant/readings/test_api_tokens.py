"""Who gets in to send readings: the holder of a token that is known, not revoked, of a source in use."""

import hashlib
from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.test import Client

from plant import clock
from plant.models import Change, Reading, ReadingSource, SourceToken
from plant.readings.source_tokens import make_token, revoke_token
from tests.factories import UserFactory
from tests.plant.sending import Sender, reading, sending_mill

pytestmark = pytest.mark.django_db


@pytest.fixture
def sender() -> Sender:
    """Set up the mill."""
    return sending_mill()


def refused(sender: Sender, header: str | None, status: int = 401) -> str:
    """Send with another header and return what is said; nothing may be stored."""
    headers = {} if header is None else {"Authorization": header}
    body = {"readings": [reading()]}
    answer = Client().post("/api/readings", body, content_type="application/json", headers=headers)
    assert answer.status_code == status
    assert status != 401 or answer["WWW-Authenticate"].startswith("Bearer")
    assert Client().get("/api/channels", headers=headers).status_code == status
    assert Reading.objects.count() == 0
    assert SourceToken.objects.filter(last_used_at__isnull=False).count() == 0
    return str(answer.json()["message"])


def test_without_a_known_token_nobody_gets_in(sender: Sender) -> None:
    for header in (None, "", sender.text, f"Basic {sender.text}"):
        assert "Authorization: Bearer" in refused(sender, header)
    digest = SourceToken.objects.get().digest
    for token in ("", "x", sender.text[:-1], sender.text + "x", sender.text.swapcase(), digest, "ü", "x" * 9000):
        assert "not known" in refused(sender, f"Bearer {token}")


def test_a_revoked_token_is_out_at_once_and_says_so(sender: Sender) -> None:
    _, other = make_token(sender.source, by=None)
    assert revoke_token(sender.token, by=None)
    assert f"ends in {sender.text[-4:]} was revoked" in refused(sender, f"Bearer {sender.text}")
    assert Sender(sender.source, sender.token, other).send(reading()).status_code == 200


def test_a_source_that_is_switched_off_sends_nothing(sender: Sender) -> None:
    ReadingSource.objects.update(is_active=False)
    assert "controller is switched off" in refused(sender, f"Bearer {sender.text}", 403)


def test_the_scheme_may_be_written_in_any_case(sender: Sender) -> None:
    assert sender.post({"readings": []}, Authorization=f"bEARER  {sender.text} ").status_code == 200


def test_sending_needs_no_session_and_makes_none(sender: Sender) -> None:
    client = Client(enforce_csrf_checks=True)
    head = {"Authorization": f"Bearer {sender.text}"}
    answer = client.post("/api/readings", {"readings": []}, content_type="application/json", headers=head)
    assert answer.status_code == 200
    assert not answer.cookies


def test_a_token_is_kept_as_a_digest_only(sender: Sender) -> None:
    assert sender.token.digest == hashlib.sha256(sender.text.encode()).hexdigest()
    assert len(sender.text) == 43
    kept = [*SourceToken.objects.values(), *Change.objects.values()]
    assert sender.text not in repr(kept)
    assert sender.token.tail == sender.text[-4:]


def test_use_is_noted_at_most_once_a_minute(sender: Sender) -> None:
    sender.send()
    used_at = SourceToken.objects.get().last_used_at
    assert used_at is not None
    sender.send()
    assert SourceToken.objects.get().last_used_at == used_at
    SourceToken.objects.update(last_used_at=clock.now() - timedelta(seconds=61))
    sender.send()
    again_at = SourceToken.objects.get().last_used_at
    assert again_at is not None
    assert again_at >= used_at


def test_making_and_revoking_stand_in_the_history_and_need_the_right(sender: Sender) -> None:
    master, technician = UserFactory(username="m", role="kiln_master"), UserFactory(username="t", role="technician")
    token, _text = make_token(sender.source, by=master)
    assert revoke_token(token, by=master)
    assert not revoke_token(token, by=master)
    acts = Change.objects.about(sender.source).filter(by=master).values_list("act", "before", "after")
    assert [act for act, *_ in acts.order_by("id")] == ["token made", "token revoked"]
    assert token.made_by == master
    assert SourceToken.objects.get(pk=token.pk).revoked_by == master
    with pytest.raises(PermissionDenied):
        make_token(sender.source, by=technician)
    with pytest.raises(PermissionDenied):
        revoke_token(sender.token, by=technician)


def test_only_what_sends_by_itself_gets_a_token(sender: Sender) -> None:
    ReadingSource.objects.update(way="files")
    sender.source.refresh_from_db()
    with pytest.raises(ValidationError, match="needs no token"):
        make_token(sender.source, by=None)
