"""Add and change staff and how they sign in. The last owner cannot be removed."""

from axes.utils import reset
from django.db import IntegrityError, transaction
from django.utils.translation import gettext

from shopdesk.errors import RefusedError
from shopdesk.recording.models import Action
from shopdesk.recording.writing import record_event
from shopdesk.shop.models import Shop
from shopdesk.staff import second_factor
from shopdesk.staff.models import Role, User
from shopdesk.staff.sessions import end_sessions
from shopdesk.stamp import Stamp


@transaction.atomic
def set_up(*, shop_name: str, username: str, name: str, password: str) -> User:
    """Create the first owner and name the shop; raise if there is a user already."""
    # The shop's row is the lock: of two requests at once, the second waits here and
    # then sees the owner that the first one created.
    Shop.objects.get_or_create(pk=1)
    shop = Shop.objects.select_for_update().get(pk=1)
    if User.objects.exists():
        raise RefusedError(gettext("The shop is already set up."))
    shop.name = shop_name
    shop.save(update_fields=["name"])
    return User.objects.create_user(username, password, name=name, role=Role.OWNER)


def add_person(
    *, username: str, name: str, role: str, stamp: Stamp
) -> tuple[User, str]:
    """Return a new member of staff and the passphrase for their first sign-in."""
    user = User(username=username, name=name, role=role)
    passphrase = user.set_passphrase(at=stamp.at)
    try:
        with transaction.atomic():
            user.save()
    except IntegrityError:
        raise RefusedError(gettext("This sign-in name is already taken.")) from None
    return user, passphrase


def reset_person(user: User, *, stamp: Stamp) -> str:
    """Return a new one-time passphrase; ends open sessions and a lockout.

    The second factor stays, so that a passphrase alone opens nothing.
    """
    with transaction.atomic():
        _ensure_owner_remains(user)
        return _issue_passphrase(user, stamp=stamp)


@transaction.atomic
def reset_owner(username: str, *, stamp: Stamp) -> tuple[User, str]:
    """Return an owner and their new one-time passphrase, whoever else there is.

    It replaces the password and the second factor.

    Raises:
        RefusedError: nobody of that name is an owner who may sign in.
    """
    owners = User.objects.filter(role=Role.OWNER, is_active=True).order_by("username")
    user = owners.filter(username=username.strip().lower()).first()
    if user is None:
        names = ", ".join(owners.values_list("username", flat=True)) or "none"
        raise RefusedError(
            gettext("%(username)s is not an active owner. Owners: %(names)s.")
            % {"username": username, "names": names}
        )
    remove_second_factor(user)
    return user, _issue_passphrase(user, stamp=stamp)


def _issue_passphrase(user: User, *, stamp: Stamp) -> str:
    record_event(Action.PASSPHRASE_ISSUED, user, by=stamp.by)
    passphrase = user.set_passphrase(at=stamp.at)
    user.save(update_fields=["password", "passphrase_until"])
    end_sessions(user)
    reset(username=user.username)
    return passphrase


@transaction.atomic
def change_person(user: User, *, name: str, role: str, is_active: bool) -> None:
    """Change name or role, or deactivate; applies at once, to open sessions too."""
    if role != Role.OWNER or not is_active:
        _ensure_owner_remains(user)
    user.name, user.role, user.is_active = name, role, is_active
    user.save(update_fields=["name", "role", "is_active"])
    if not is_active:
        end_sessions(user)


@transaction.atomic
def set_own_password(user: User, password: str, *, keep: str) -> None:
    """Set a password chosen by the person; their sessions other than `keep` end."""
    user.set_own_password(password)
    end_sessions(user, keep=keep)


def start_second_factor(user: User) -> None:
    """Create the secret that an app is to read; it counts once a code confirms it."""
    if user.has_second_factor:
        raise RefusedError(gettext("Your second factor is already set up."))
    user.totp_secret = second_factor.encrypt_secret(second_factor.new_secret(), user)
    user.totp_step = 0
    user.save(update_fields=["totp_secret", "totp_step"])


@transaction.atomic
def activate_second_factor(
    user: User, *, code: str, keep: str, stamp: Stamp
) -> list[str]:
    """Return the recovery codes; from now on signing in needs a code.

    Raises:
        RefusedError: nothing was started, or the code is not that of the app.
    """
    user = User.objects.select_for_update().get(pk=user.pk)
    if user.has_second_factor or user.totp_secret is None:
        raise RefusedError(gettext("Start setting up the second factor again."))
    if not second_factor.accept_step(user, code.replace(" ", ""), at=stamp.at):
        raise RefusedError(
            gettext(
                "This is not the app’s code. Enter the"
                " code it shows now, and check that"
                " the phone has the right time."
            )
        )
    user.totp_confirmed_at = stamp.at
    user.save(update_fields=["totp_confirmed_at"])
    end_sessions(user, keep=keep)
    record_event(Action.SECOND_FACTOR_ADDED, user)
    return second_factor.new_recovery_codes(user)


@transaction.atomic
def remove_second_factor(user: User, *, keep: str | None = None) -> None:
    """Remove app and recovery codes; sessions other than `keep` end."""
    if user.has_second_factor:
        record_event(Action.SECOND_FACTOR_REMOVED, user)
    user.recovery_codes.all().delete()
    user.totp_secret = user.totp_confirmed_at = None
    user.totp_step = 0
    user.save(update_fields=["totp_secret", "totp_confirmed_at", "totp_step"])
    end_sessions(user, keep=keep)


@transaction.atomic
def replace_recovery_codes(user: User, *, keep: str) -> list[str]:
    """Return new recovery codes; the earlier ones and other sessions end."""
    user = User.objects.select_for_update().get(pk=user.pk)
    if not user.has_second_factor:
        raise RefusedError(gettext("Set up the second factor first."))
    end_sessions(user, keep=keep)
    record_event(Action.CODES_REPLACED, user)
    return second_factor.new_recovery_codes(user)


@transaction.atomic
def sign_out_elsewhere(user: User, *, keep: str | None, key: str = "") -> int:
    """End the user's sessions other than `keep`, or only the one of `key`."""
    ended = end_sessions(user, keep=keep, key=key)
    if ended:
        record_event(Action.SESSIONS_ENDED, user, count=ended)
    return ended


def _ensure_owner_remains(user: User) -> None:
    # All owners are locked, so that two cannot deactivate each other at once.
    owners = User.objects.active_owners().select_for_update().order_by("pk")
    if list(owners) == [user]:
        raise RefusedError(
            gettext(
                "This is the last owner with their own"
                " password. Add another owner first,"
                " who must sign in once."
            )
        )
