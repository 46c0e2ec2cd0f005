"""Outgoing mail: written down with what it tells, sent afterwards by a worker."""

from datetime import datetime

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from shopdesk.mail.pauses import LEASE, pause


class LetterQuerySet(models.QuerySet):
    def for_list(self):
        """With all that one row of the list of letters shows, the latest first."""
        counted = self.annotate(enclosed=models.Count("attachments"))
        # What is grouped for counting loses the order that the class has.
        return counted.defer("text").order_by("-id")

    def waiting(self):
        return self.filter(sent_at=None, discarded_at=None, next_try_at__isnull=False)

    def stuck(self):
        """Those that nobody tries any more, and nobody saw to."""
        return self.filter(sent_at=None, discarded_at=None, next_try_at=None)

    def sent(self):
        return self.filter(sent_at__isnull=False)

    def dropped(self):
        return self.filter(discarded_at__isnull=False)

    def due(self, at: datetime):
        return self.waiting().filter(next_try_at__lte=at).order_by("next_try_at", "id")


class Email(models.Model):
    """One mail to one person. `next_try_at` is empty when nobody tries it any more."""

    to = models.EmailField()
    subject = models.CharField(max_length=200)
    text = models.TextField(max_length=20_000)
    # The page of ours that the letter is about.
    about = models.CharField(max_length=200, blank=True)
    # The same in every try: a mail server that got it twice can tell.
    message_id = models.CharField(max_length=200, unique=True)
    written_at = models.DateTimeField()
    written_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    next_try_at = models.DateTimeField(null=True)
    tries = models.PositiveSmallIntegerField(default=0)
    said = models.CharField("what went wrong", max_length=300, blank=True)
    sent_at = models.DateTimeField(null=True)
    discarded_at = models.DateTimeField(null=True)

    objects = LetterQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(fields=["next_try_at"])]
        constraints = [
            models.CheckConstraint(
                condition=~Q(to="") & ~Q(subject=""), name="letter_is_addressed"
            ),
            models.CheckConstraint(
                condition=Q(sent_at=None) | Q(discarded_at=None, next_try_at=None),
                name="letter_sent_is_over",
            ),
            models.CheckConstraint(
                condition=Q(discarded_at=None) | Q(next_try_at=None),
                name="letter_dropped_is_over",
            ),
        ]

    def __str__(self):
        return f"{self.subject} to {self.to}"

    def get_absolute_url(self):
        return reverse("mail:letter", args=[self.pk])

    @property
    def standing(self) -> str:
        """Where it stands, in a word."""
        if self.sent_at:
            return "sent"
        if self.discarded_at:
            return "dropped"
        return "waiting" if self.next_try_at else "stuck"

    def claim(self, at: datetime) -> bool:
        """Take the letter for one try; False where another sender was quicker."""
        return bool(
            Email.objects.filter(
                pk=self.pk,
                next_try_at=self.next_try_at,
                sent_at=None,
                discarded_at=None,
            ).update(next_try_at=at + LEASE, tries=F("tries") + 1)
        )

    def as_mail(self, *, sender: str) -> EmailMessage:
        return EmailMessage(
            subject=self.subject,
            body=self.text,
            from_email=sender,
            to=[self.to],
            headers={"Message-ID": self.message_id},
            attachments=[
                (one.name, bytes(one.file), one.kind) for one in self.attachments.all()
            ],
        )

    def is_sent(self, at: datetime) -> None:
        Email.objects.filter(pk=self.pk).update(sent_at=at, next_try_at=None, said="")

    def is_refused(self, said: str, at: datetime, *, for_good: bool = False) -> None:
        """Write down what went wrong, and when to try again, if at all."""
        self.refresh_from_db(fields=["tries"])
        wait = None if for_good else pause(self.tries)
        Email.objects.filter(pk=self.pk).update(
            said=said[:300], next_try_at=at + wait if wait else None
        )

    def resend(self, at: datetime) -> bool:
        """Try a stuck or waiting letter at once; False where it is over."""
        return bool(
            Email.objects.filter(pk=self.pk, sent_at=None, discarded_at=None).update(
                next_try_at=at, tries=0
            )
        )

    def drop(self, at: datetime) -> bool:
        """Never send it; False where it is over already."""
        return bool(
            Email.objects.filter(pk=self.pk, sent_at=None, discarded_at=None).update(
                discarded_at=at, next_try_at=None
            )
        )


class Attachment(models.Model):
    """A file that goes with a letter, as it was when the letter was written."""

    letter = models.ForeignKey(
        Email, on_delete=models.CASCADE, related_name="attachments"
    )
    name = models.CharField(max_length=120)
    kind = models.CharField("media type", max_length=80)
    file = models.BinaryField()

    class Meta:
        ordering = ["id"]

    def __str__(self):
        return self.name
