import pytest

from shopdesk.encryption import DecryptionError, decrypt, encrypt

CODE = "1379-öß"
BOUND = {"purpose": "access code", "record": "job:7", "secret": "one"}


@pytest.mark.parametrize("at", [0, 1, 13, -1])
def test_a_changed_byte_is_refused(at):
    whole = bytearray(encrypt(CODE, **BOUND))
    assert decrypt(bytes(whole), **BOUND) == CODE
    whole[at] ^= 1
    with pytest.raises(DecryptionError):
        decrypt(bytes(whole), **BOUND)


@pytest.mark.parametrize(
    "other", [{"secret": "two"}, {"record": "job:8"}, {"purpose": "another"}]
)
def test_a_text_is_read_only_where_it_belongs(other):
    with pytest.raises(DecryptionError):
        decrypt(encrypt(CODE, **BOUND), **BOUND | other)


@pytest.mark.parametrize("length", [0, 1, 9, -1])
def test_a_text_cut_short_is_refused(length):
    with pytest.raises(DecryptionError):
        decrypt(encrypt(CODE, **BOUND)[:length], **BOUND)


def test_the_same_text_is_never_encrypted_to_the_same_bytes():
    assert len({encrypt(CODE, **BOUND) for _ in range(20)}) == 20
