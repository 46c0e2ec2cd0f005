"""Letters are written in the transaction of what they tell, and sent after it."""

import smtplib
from collections.abc import Iterable, Iterator
from datetime import datetime
from email.utils import make_msgid

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.mail import BadHeaderError, get_connection
from django.core.validators import validate_email
from django.db import transaction

from shopdesk.errors import EmailError
from shopdesk.mail.models import Attachment, Email
from shopdesk.shop.models import Shop

MOST_BYTES = 15_000_000
"""Attachments of one letter; many mail servers refuse more than 20 MB as encoded."""


class Unsendable(EmailError):
    """A letter that can't be written, told as a sentence."""


@transaction.atomic
def write(
    to: str,
    *,
    subject: str,
    text: str,
    attachments: Iterable[tuple[str, str, bytes]] = (),
    about: str = "",
    at: datetime,
    by,
) -> Email:
    """Put a letter in the outbox; `attachments` are (name, media type, bytes).

    Call it in the transaction of what the letter tells: either both happen or none.
    """
    try:
        validate_email(to)
    except ValidationError:
        raise Unsendable(
            f"“{to[:100]}” is no mail address: mend it on the customer’s page."
            if to
            else "There is no mail address: write it on the customer’s page."
        ) from None
    subject = " ".join(subject.split())[:200]
    attachments = list(attachments)
    if sum(len(file) for _, _, file in attachments) > MOST_BYTES:
        raise Unsendable("The papers are too large to be mailed together.")
    letter = Email.objects.create(
        to=to,
        subject=subject,
        text=text,
        about=about,
        message_id=make_msgid(domain="shopdesk.invalid"),
        written_at=at,
        written_by=by,
        next_try_at=at,
    )
    Attachment.objects.bulk_create(
        Attachment(letter=letter, name=name[:120], kind=kind, file=file)
        for name, kind, file in attachments
    )
    return letter


def is_mail_configured() -> bool:
    return bool(settings.MAIL_URL)


def send_due(*, clock) -> Iterator[Email]:
    """Send what is due, one letter after the other; yields each as it then stands.

    Each is claimed first, so several senders may run. One that dies between handing a
    letter over and writing that down sends it twice at worst, with the same Message-ID.
    """
    sender = settings.MAIL_FROM or Shop.current().email
    connection = get_connection(fail_silently=False)
    seen = 0
    while (
        letter := Email.objects.due(clock()).filter(pk__gt=seen).order_by("pk").first()
    ):
        seen = letter.pk
        if not letter.claim(clock()):
            continue
        _try(letter, connection, sender=sender, clock=clock)
        letter.refresh_from_db()
        yield letter
    connection.close()


def _try(letter: Email, connection, *, sender: str, clock) -> None:
    if not sender:
        letter.is_refused(
            "The shop has no mail address to send from: write it in its figures.",
            clock(),
        )
        return
    try:
        connection.send_messages([letter.as_mail(sender=sender)])
    except BadHeaderError:
        letter.is_refused("The subject can’t be sent.", clock(), for_good=True)
    except smtplib.SMTPRecipientsRefused as refused:
        (code, answer), *_ = refused.recipients.values()
        letter.is_refused(
            f"The mail server does not take mail for {letter.to}: {_words(answer)}",
            clock(),
            for_good=500 <= code < 600,
        )
    except smtplib.SMTPResponseException as refused:
        letter.is_refused(
            f"The mail server answered {refused.smtp_code}:"
            f" {_words(refused.smtp_error)}",
            clock(),
        )
    except (smtplib.SMTPException, OSError) as failed:
        letter.is_refused(f"The mail server can’t be reached: {failed}", clock())
    else:
        letter.is_sent(clock())
    finally:
        connection.close()


def _words(answer: bytes | str) -> str:
    return answer.decode(errors="replace") if isinstance(answer, bytes) else answer
