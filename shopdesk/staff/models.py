"""Staff, their sessions and recovery codes, and request counts of addresses."""

from datetime import datetime, timedelta
from importlib import import_module

from django.conf import settings
from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.password_validation import CommonPasswordValidator
from django.contrib.sessions.base_session import AbstractBaseSession
from django.core.exceptions import ValidationError
from django.core.validators import RegexValidator
from django.db import models
from django.db.models import F, Q
from django.urls import reverse
from django.utils.translation import gettext, gettext_lazy

from shopdesk.recording.recorded import Recorded, RecordedQuerySet
from shopdesk.shop.models import Shop
from shopdesk.staff.passphrases import (
    consists_of_words,
    is_common,
    is_repetition,
    random_passphrase,
)

SIGN_IN_NAME = RegexValidator(
    r"^[a-z0-9](?:[a-z0-9._-]*[a-z0-9])?\Z",
    gettext_lazy(
        "Use lower-case letters and digits, with dots or dashes between them."
    ),
)
PASSPHRASE_LIFETIME = timedelta(hours=24)
# So long an owner may postpone the second factor that the shop asks for.
SECOND_FACTOR_GRACE = timedelta(days=7)


class Role(models.TextChoices):
    COUNTER = "counter", gettext_lazy("Counter")
    BENCH = "bench", gettext_lazy("Bench")
    OWNER = "owner", gettext_lazy("Owner")


class PasswordStrengthValidator:
    """Refuses passwords that consist of known names, common ones or repetitions."""

    def __init__(self):
        self.common = CommonPasswordValidator().passwords

    def validate(self, password, user=None):
        words = [Shop.current().name, getattr(user, "name", "")]
        words.append(getattr(user, "username", ""))
        if is_repetition(password):
            raise ValidationError(
                gettext("The password is too repetitive."), code="repetition"
            )
        if is_common(password, common=self.common):
            raise ValidationError(
                gettext("The password is made of one or two very common passwords."),
                code="common",
            )
        if consists_of_words(password, words=words):
            raise ValidationError(
                gettext(
                    "The password is mostly the shop's"
                    " name, your name or a common word."
                ),
                code="known_here",
            )

    def get_help_text(self):
        return gettext(
            "It must not consist of your name, the shop’s name or repetitions."
        )


class UserManager(BaseUserManager):
    def create_user(self, username, password=None, *, name="", role=Role.COUNTER):
        """Return a new member of staff, who cannot sign in without a password."""
        user = self.model(username=username.strip().lower(), name=name, role=role)
        user.set_password(password)
        user.save()
        return user

    def get_by_natural_key(self, username):
        return self.get(username=username.strip().lower())


class UserQuerySet(RecordedQuerySet):
    def active_owners(self):
        """Return owners who can sign in with a password of their own."""
        return self.filter(role=Role.OWNER, is_active=True, passphrase_until=None)


class User(AbstractBaseUser, Recorded):
    """A member of staff. `role` alone decides what they may open."""

    username = models.CharField(
        gettext_lazy("sign-in name"),
        max_length=40,
        unique=True,
        validators=[SIGN_IN_NAME],
        error_messages={"unique": gettext_lazy("This sign-in name is already taken.")},
    )
    name = models.CharField(max_length=80)
    role = models.CharField(max_length=7, choices=Role, default=Role.COUNTER)
    is_active = models.BooleanField(gettext_lazy("may sign in"), default=True)
    # Set while the password is a one-time passphrase from the owner. It expires at that
    # moment, and allows only the page where a password is set.
    passphrase_until = models.DateTimeField(null=True, blank=True, editable=False)
    # Of the screens, such as de; blank: the default. See `shopdesk.screen_language`.
    language = models.CharField(max_length=7, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    # The secret of one-time codes, encrypted: see `second_factor`. It counts only once
    # a code has confirmed it. A code of `totp_step` or before is not accepted again.
    totp_secret = models.BinaryField(
        gettext_lazy("secret of the second factor"), null=True, editable=False
    )
    totp_confirmed_at = models.DateTimeField(
        gettext_lazy("second factor confirmed"), null=True, editable=False
    )
    totp_step = models.BigIntegerField(default=0, editable=False)

    unrecorded = frozenset({"last_login", "created_at", "totp_step"})
    secret = frozenset({"password"})

    USERNAME_FIELD = "username"
    REQUIRED_FIELDS = ["name"]
    objects = UserManager.from_queryset(UserQuerySet)()

    class Meta:
        ordering = ["name"]
        verbose_name = gettext_lazy("staff member")
        constraints = [
            models.CheckConstraint(
                condition=Q(role__in=Role.values), name="staff_role_is_known"
            ),
        ]

    def __str__(self):
        return self.name or self.username

    def get_absolute_url(self):
        return reverse("staff:person", args=[self.pk])

    def get_short_name(self):
        return self.name.split(" ")[0] if self.name else self.username

    @property
    def must_change_password(self) -> bool:
        return self.passphrase_until is not None

    @property
    def has_second_factor(self) -> bool:
        return self.totp_confirmed_at is not None

    def lacks_second_factor(self, shop: Shop) -> bool:
        """Whether the shop asks this user for a second factor they have not set up."""
        # The shop comes last, as it is not loaded until it is needed.
        return (
            self.role == Role.OWNER
            and not self.has_second_factor
            and shop.owners_need_second_factor
        )

    @property
    def second_factor_due_at(self) -> datetime:
        return self.created_at + SECOND_FACTOR_GRACE

    @property
    def status(self) -> str:
        if not self.is_active:
            return "deactivated"
        return "invited" if self.must_change_password else "active"

    def set_passphrase(self, *, at: datetime) -> str:
        """Return a new one-time passphrase; it is stored as a hash only."""
        passphrase = random_passphrase()
        self.set_password(passphrase)
        self.passphrase_until = at + PASSPHRASE_LIFETIME
        return passphrase

    def set_own_password(self, password: str) -> None:
        """Set a password chosen by the person."""
        self.set_password(password)
        self.passphrase_until = None
        self.save(update_fields=["password", "passphrase_until"])


class Session(AbstractBaseSession):
    """A session, and whose it is. The key is stored as a hash: see `sessions`."""

    session_key = models.CharField(max_length=64, primary_key=True)
    user = models.ForeignKey(
        User, null=True, on_delete=models.CASCADE, related_name="sessions"
    )

    @classmethod
    def get_session_store_class(cls):
        return import_module(settings.SESSION_ENGINE).SessionStore


class RecoveryCode(models.Model):
    """A code that replaces the second factor once; only its hash is stored."""

    user = models.ForeignKey(
        User, on_delete=models.CASCADE, related_name="recovery_codes"
    )
    code_hash = models.CharField(max_length=64)
    used_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["user", "code_hash"], name="recovery_code_once"
            ),
        ]

    def __str__(self):
        return "used" if self.used_at else "unused"


class RequestCountQuerySet(models.QuerySet):
    def count_one(
        self, key: str, *, most: int, seconds: int, at: datetime
    ) -> "RequestCount":
        """Count one more request of `key`; return its row, over `most` if too many.

        It is stored in the database, so that it holds for all workers and after a
        restart. Each change is a single statement: two requests at once are counted as
        two. Requests over the limit only read, so that a flood does not write to the
        database.
        """
        begun = at - timedelta(seconds=seconds)
        mine = self.filter(key=key)
        over = mine.filter(window_start__gt=begun, count__gt=most).first()
        if over is not None:
            return over
        while not mine.filter(window_start__gt=begun).update(count=F("count") + 1):
            if not mine.filter(window_start__lte=begun).update(
                window_start=at, count=1
            ):
                # The first request creates the row; the next round counts it.
                new = self.model(key=key, window_start=at)
                self.bulk_create([new], ignore_conflicts=True)
                self.filter(window_start__lt=at - timedelta(hours=1)).delete()
                continue
            break
        return mine.get()


class RequestCount(models.Model):
    """How often one address requested something since a moment.

    The address cannot be read from it. `rate_limit` evaluates it.
    """

    key = models.CharField(max_length=64, unique=True)
    window_start = models.DateTimeField(db_index=True)
    count = models.PositiveIntegerField(default=0)

    objects = RequestCountQuerySet.as_manager()

    def __str__(self):
        return f"{self.count} since {self.window_start}"
