"""A new key takes over from the old one, even where the change was cut short."""

from contextlib import suppress
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.test import override_settings

from repairs.jobs.access_codes import show_access_code, store_access_code
from repairs.jobs.models import AccessCode, Job
from shopdesk.encryption import DecryptionError, decrypt
from shopdesk.keeping import key_rotation
from shopdesk.keeping.key_rotation import rotate_key
from shopdesk.seal_keys import old_file, seal_keys
from shopdesk.staff.models import User
from shopdesk.staff.second_factor import encrypt_secret, secret_of
from tests import make

pytestmark = pytest.mark.django_db


@pytest.fixture
def file(settings, tmp_path):
    settings.SEAL_KEY_FILE = tmp_path / "seal.key"
    settings.SEAL_KEY_FILE.write_text("the first key")
    return settings.SEAL_KEY_FILE


@pytest.fixture
def stored(file):
    """Two codes and a second factor, encrypted with the first key."""
    for code in ("1111", "2222"):
        store_access_code(make.job(data_access=Job.DataAccess.YES), code=code)
    user = make.user()
    user.totp_secret = encrypt_secret("JBSWY3DPEHPK3PXP", user)
    user.save()


def readable():
    """All that is stored, as it is shown."""
    stamp = make.stamp(by=make.user())
    codes = [
        show_access_code(code.job, why="Test", stamp=stamp)
        for code in AccessCode.objects.order_by("pk")
    ]
    users = User.objects.exclude(totp_secret=None)
    return codes + [secret_of(user) for user in users]


ALL = ["1111", "2222", "JBSWY3DPEHPK3PXP"]


def readable_with(key):
    """How many of the rows one key alone decrypts."""
    count = 0
    for code in AccessCode.objects.all():
        try:
            bound = {"purpose": "access code", "record": f"job:{code.job_id}"}
            decrypt(bytes(code.ciphertext), **bound, secret=key)
        except DecryptionError:
            continue
        count += 1
    return count


def test_no_row_stays_on_the_old_key(stored, file):
    out = StringIO()
    call_command("rotate_key", stdout=out)
    assert "Encrypted again: 3." in out.getvalue()
    new = file.read_text()
    assert new != "the first key" and file.stat().st_mode & 0o077 == 0
    assert seal_keys() == [new] and not old_file(file).exists()
    assert (readable_with("the first key"), readable_with(new)) == (0, 2)
    assert readable() == ALL


@pytest.mark.parametrize("step", ["write_key", "encrypt_again", "sync"])
@pytest.mark.parametrize("calls", [1, 2, 3])
def test_killed_between_two_steps_all_stays_readable(
    stored, file, monkeypatch, step, calls
):
    real, done = getattr(key_rotation, step), []

    def killed(*args):
        done.append(step)
        if len(done) == calls:
            raise KeyboardInterrupt
        return real(*args)

    monkeypatch.setattr(key_rotation, step, killed)
    with suppress(KeyboardInterrupt):
        rotate_key()
    assert readable() == ALL
    # What is stored meanwhile has the key that stays.
    store_access_code(make.job(data_access=Job.DataAccess.YES), code="3333")
    monkeypatch.setattr(key_rotation, step, real)
    rotate_key()
    assert readable() == [*ALL[:2], "3333", ALL[2]]
    assert readable_with("the first key") == 0
    assert not old_file(file).exists() and len(seal_keys()) == 1


def test_a_row_of_a_third_key_stops_it_and_nothing_is_lost(stored, file):
    foreign = AccessCode.objects.first()
    AccessCode.objects.filter(pk=foreign.pk).update(ciphertext=b"\x01" + bytes(40))
    with pytest.raises(CommandError, match="cannot be read"):
        call_command("rotate_key")
    assert readable_with("the first key") == 1
    foreign.delete()
    assert readable() == ALL[1:]
    rotate_key()
    assert readable() == ALL[1:]


def test_a_key_from_the_environment_is_not_ours_to_change():
    with override_settings(SEAL_KEY_FILE=None), pytest.raises(CommandError):
        call_command("rotate_key")
