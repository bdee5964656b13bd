"""Signatures of Standard Webhooks, against the specification's own values."""

from __future__ import annotations

import pytest

from gateway.errors import SettingsFault
from gateway.outlets.signing import read_signing_secret, sign

# The example of the Standard Webhooks specification 1.0.0, recomputed.
SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
MESSAGE_ID = "msg_p5jXN8AQM9LWM0D4loKWxJek"
SIGNATURE = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="


def test_the_published_signature() -> None:
    """Secret, id, timestamp and body of the specification give its signature."""
    assert sign([read_signing_secret(SECRET)], MESSAGE_ID, 1614265330, b'{"test": 2432232314}') == SIGNATURE


def test_two_secrets_sign_side_by_side() -> None:
    """While a secret is changed the receiver may know either."""
    other = read_signing_secret("whsec_" + "QUFB" * 8)
    both = sign([other, read_signing_secret(SECRET)], MESSAGE_ID, 1614265330, b'{"test": 2432232314}').split(" ")
    assert len(both) == 2
    assert both[1] == SIGNATURE
    assert both[0] != SIGNATURE


@pytest.mark.parametrize(
    "text", ["", "MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "whsec_", "whsec_AAAA", "whsec_!!!!", "whsec_" + "QUFB" * 30]
)
def test_secrets_that_are_none(text: str) -> None:
    """Refused with how to make one; the text itself is never shown."""
    with pytest.raises(SettingsFault, match="Standard Webhooks") as fault:
        read_signing_secret(text)
    assert len(text) < 8 or text not in str(fault.value)
    assert "urandom" in fault.value.remedy
