"""Who works here: coming, changing, going. The last owner can't be lost."""

from datetime import datetime

from axes.utils import reset
from django.db import IntegrityError, transaction

from shopdesk.shop.models import Shop
from shopdesk.staff.models import Kind, User


class Refused(Exception):
    """A change of staff that can't be, told as a sentence."""


@transaction.atomic
def set_up(*, shop_name: str, username: str, name: str, password: str) -> User:
    """The first owner, and the shop's name. Refused as soon as anybody works here."""
    # The shop's one row is the lock: of two at once, the second waits here and then
    # sees the first one's owner.
    Shop.objects.get_or_create(pk=1)
    shop = Shop.objects.select_for_update().get(pk=1)
    if User.objects.exists():
        raise Refused("The shop is set up already.")
    shop.name = shop_name
    shop.save(update_fields=["name"])
    return User.objects.create_user(username, password, name=name, kind=Kind.OWNER)


def add_person(
    *, username: str, name: str, kind: str, at: datetime
) -> tuple[User, str]:
    """A new member of staff, and the passphrase that lets them in the first time."""
    user = User(username=username, name=name, kind=kind)
    passphrase = user.set_passphrase(at=at)
    try:
        with transaction.atomic():
            user.save()
    except IntegrityError:
        raise Refused("Somebody here signs in by this name already.") from None
    return user, passphrase


def reset_person(user: User, *, at: datetime) -> str:
    """A new one-time passphrase; open sessions and a lock by wrong tries end."""
    with transaction.atomic():
        _ensure_owner_remains(user)
        passphrase = user.set_passphrase(at=at)
        user.save(update_fields=["password", "passphrase_until"])
    reset(username=user.username)
    return passphrase


@transaction.atomic
def change_person(user: User, *, name: str, kind: str, is_active: bool) -> None:
    """Another name or kind, or switched off; at once, open sessions too."""
    if kind != Kind.OWNER or not is_active:
        _ensure_owner_remains(user)
    user.name, user.kind, user.is_active = name, kind, is_active
    user.save(update_fields=["name", "kind", "is_active"])


def _ensure_owner_remains(user: User) -> None:
    # All of them are locked, so that two owners can't switch each other off at once.
    owners = User.objects.active_owners().select_for_update().order_by("pk")
    if list(owners) == [user]:
        raise Refused(
            "This is the last owner with a password of their own. Make another one"
            " first, and let them sign in."
        )
