"""The people who work here."""

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models import Q


class Kind(models.TextChoices):
    COUNTER = "counter", "Counter"
    BENCH = "bench", "Bench"
    OWNER = "owner", "Owner"


class UserManager(BaseUserManager):
    def create_user(self, username, password=None, *, name="", kind=Kind.COUNTER):
        """A new member of staff; without a password nobody can sign in as them."""
        user = self.model(username=username.strip().lower(), name=name, kind=kind)
        user.set_password(password)
        user.save()
        return user

    def get_by_natural_key(self, username):
        return self.get(username=username.strip().lower())


class User(AbstractBaseUser):
    """One member of staff. What they may do follows from `kind` alone."""

    username = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=7, choices=Kind, default=Kind.COUNTER)
    is_active = models.BooleanField("may sign in", default=True)
    created_at = models.DateTimeField(auto_now_add=True)

    USERNAME_FIELD = "username"
    REQUIRED_FIELDS = ["name"]
    objects = UserManager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=Kind.values), name="staff_kind_is_known"
            ),
        ]

    def __str__(self):
        return self.name or self.username

    def get_short_name(self):
        return self.name.split(" ")[0] if self.name else self.username
