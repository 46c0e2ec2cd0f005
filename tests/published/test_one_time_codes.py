"""Codes of the second factor against the values printed in RFC 6238, Appendix B."""

from datetime import UTC, datetime, timedelta

import pyotp
import pytest

from shopdesk.staff.second_factor import matching_step

# P: RFC 6238 (2011), Appendix B, column SHA1. The secret is the ASCII text
# "12345678901234567890", here in base 32. The RFC prints eight digits; apps show six,
# which are the last six, as the code is the same number modulo 10^6.
SECRET = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"
PRINTED = [
    (59, "94287082"),
    (1111111109, "07081804"),
    (1111111111, "14050471"),
    (1234567890, "89005924"),
    (2000000000, "69279037"),
    (20000000000, "65353130"),
]


@pytest.mark.parametrize(("seconds", "printed"), PRINTED)
def test_the_printed_codes_are_accepted_at_their_time(seconds, printed):
    assert pyotp.TOTP(SECRET, digits=8).at(seconds) == printed
    at = datetime.fromtimestamp(seconds, tz=UTC)
    assert matching_step(SECRET, printed[-6:], at=at) == seconds // 30


@pytest.mark.parametrize(("late", "is_right"), [(-60, 0), (-59, 1), (30, 1), (31, 0)])
def test_a_code_is_accepted_one_step_early_or_late(late, is_right):
    # This is the last second of its step of 30.
    at = datetime.fromtimestamp(1111111109, tz=UTC) + timedelta(seconds=late)
    step = matching_step(SECRET, "081804", at=at)
    assert step == (1111111109 // 30 if is_right else None)
