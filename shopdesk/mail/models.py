"""Outgoing email: stored with what it reports, sent later by a command."""

from datetime import datetime, timedelta

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

RETRY_MINUTES = (1, 5, 15, 60, 240, 720, 1440)
"""Minutes until the next attempt, after each failure; then no more attempts."""

CLAIM_TIMEOUT = timedelta(minutes=10)
"""A sender that takes longer than this is presumed dead, and another may try."""


class EmailQuerySet(models.QuerySet):
    def for_list(self):
        """Fetch all that a row of the list shows, latest first."""
        counted = self.annotate(attachment_count=models.Count("attachments"))
        # Counting groups requires no default order.
        return counted.defer("text").order_by("-id")

    def waiting(self):
        return self.filter(sent_at=None, discarded_at=None, next_try_at__isnull=False)

    def failed(self):
        """Return emails that are not tried any more and not discarded."""
        return self.filter(sent_at=None, discarded_at=None, next_try_at=None)

    def sent(self):
        return self.filter(sent_at__isnull=False)

    def discarded(self):
        return self.filter(discarded_at__isnull=False)

    def due(self, at: datetime):
        return self.waiting().filter(next_try_at__lte=at).order_by("next_try_at", "id")


class Email(models.Model):
    """An email to one person. `next_try_at` is empty if it is not tried any more."""

    to = models.EmailField()
    subject = models.CharField(max_length=200)
    text = models.TextField(max_length=20_000)
    # The page in this program that the email is about.
    about = models.CharField(max_length=200, blank=True)
    # The same in every attempt, so that a mail server recognises a repeated email.
    message_id = models.CharField(max_length=200, unique=True)
    written_at = models.DateTimeField()
    written_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    next_try_at = models.DateTimeField(null=True)
    attempt_count = models.PositiveSmallIntegerField(default=0)
    last_error = models.CharField(max_length=300, blank=True)
    sent_at = models.DateTimeField(null=True)
    discarded_at = models.DateTimeField(null=True)

    objects = EmailQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(fields=["next_try_at"])]
        constraints = [
            models.CheckConstraint(
                condition=~Q(to="") & ~Q(subject=""), name="email_is_addressed"
            ),
            models.CheckConstraint(
                condition=Q(sent_at=None) | Q(discarded_at=None, next_try_at=None),
                name="email_sent_is_final",
            ),
            models.CheckConstraint(
                condition=Q(discarded_at=None) | Q(next_try_at=None),
                name="email_discarded_is_final",
            ),
        ]

    def __str__(self):
        return f"{self.subject} to {self.to}"

    def get_absolute_url(self):
        return reverse("mail:email", args=[self.pk])

    @property
    def status(self) -> str:
        if self.sent_at:
            return "sent"
        if self.discarded_at:
            return "discarded"
        return "waiting" if self.next_try_at else "failed"

    def claim(self, at: datetime) -> bool:
        """Take the email for one attempt; False if another sender took it."""
        return bool(
            Email.objects.filter(
                pk=self.pk,
                next_try_at=self.next_try_at,
                sent_at=None,
                discarded_at=None,
            ).update(
                next_try_at=at + CLAIM_TIMEOUT, attempt_count=F("attempt_count") + 1
            )
        )

    def as_message(self, *, sender: str) -> EmailMessage:
        return EmailMessage(
            subject=self.subject,
            body=self.text,
            from_email=sender,
            to=[self.to],
            headers={"Message-ID": self.message_id},
            attachments=[
                (one.name, bytes(one.file), one.media_type)
                for one in self.attachments.all()
            ],
        )

    def mark_sent(self, at: datetime) -> None:
        Email.objects.filter(pk=self.pk).update(
            sent_at=at, next_try_at=None, last_error=""
        )

    def mark_failed(self, error: str, at: datetime, *, is_final: bool = False) -> None:
        """Store what went wrong, and when to try again, if at all."""
        self.refresh_from_db(fields=["attempt_count"])
        wait = None if is_final else retry_delay(self.attempt_count)
        Email.objects.filter(pk=self.pk).update(
            last_error=error[:300], next_try_at=at + wait if wait else None
        )

    def resend(self, at: datetime) -> bool:
        """Try a failed or waiting email again now; False if it is sent or discarded."""
        return bool(
            Email.objects.filter(pk=self.pk, sent_at=None, discarded_at=None).update(
                next_try_at=at, attempt_count=0
            )
        )

    def discard(self, at: datetime) -> bool:
        """Discard it; False if it is sent or discarded already."""
        return bool(
            Email.objects.filter(pk=self.pk, sent_at=None, discarded_at=None).update(
                discarded_at=at, next_try_at=None
            )
        )


class Attachment(models.Model):
    """A file attached to an email, as it was when the email was written."""

    email = models.ForeignKey(
        Email, on_delete=models.CASCADE, related_name="attachments"
    )
    name = models.CharField(max_length=120)
    media_type = models.CharField(max_length=80)
    file = models.BinaryField()

    class Meta:
        ordering = ["id"]

    def __str__(self):
        return self.name


def retry_delay(attempts: int) -> timedelta | None:
    """Return the wait after so many failures; None when it is time to give up."""
    is_over = attempts > len(RETRY_MINUTES)
    return None if is_over else timedelta(minutes=RETRY_MINUTES[attempts - 1])
