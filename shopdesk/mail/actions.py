"""Emails are stored in the transaction of what they report, and sent afterwards."""

import smtplib
from collections.abc import Iterable, Iterator
from email.utils import make_msgid

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.mail import BadHeaderError, get_connection
from django.core.validators import validate_email
from django.db import transaction
from django.utils.translation import gettext

from shopdesk.errors import EmailError
from shopdesk.mail.models import Attachment, Email
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp

MAX_BYTES = 15_000_000
"""Attachments of one email; many mail servers refuse more than 20 MB once encoded."""


@transaction.atomic
def write(
    to: str,
    *,
    subject: str,
    text: str,
    attachments: Iterable[tuple[str, str, bytes]] = (),
    about: str = "",
    stamp: Stamp,
) -> Email:
    """Queue an email; `attachments` are (name, media type, bytes).

    Call it in the transaction of what the email reports, so that both happen or
    neither.

    Raises: EmailError if the email cannot be sent as it is.
    """
    try:
        validate_email(to)
    except ValidationError:
        raise EmailError(
            gettext(
                "“%(address)s” is not a valid email address. Correct it in the"
                " customer record."
            )
            % {"address": to[:100]}
            if to
            else gettext("Add an email address to the customer record.")
        ) from None
    subject = " ".join(subject.split())[:200]
    attachments = list(attachments)
    if sum(len(content) for _, _, content in attachments) > MAX_BYTES:
        raise EmailError(gettext("The attachments are too large for one email."))
    email = Email.objects.create(
        to=to,
        subject=subject,
        text=text,
        about=about,
        message_id=make_msgid(domain="shopdesk.invalid"),
        written_at=stamp.at,
        written_by=stamp.by,
        next_try_at=stamp.at,
    )
    Attachment.objects.bulk_create(
        Attachment(email=email, name=name[:120], media_type=type, file=content)
        for name, type, content in attachments
    )
    return email


def is_mail_configured() -> bool:
    return bool(settings.MAIL_URL)


def send_due(*, clock) -> Iterator[Email]:
    """Send the emails that are due, one by one; yield each with its new status.

    Each is claimed first, so several senders may run. A sender that crashes between
    sending an email and storing that sends it again, with the same Message-ID.
    """
    sender = settings.MAIL_FROM or Shop.current().email
    connection = get_connection(fail_silently=False)
    last = 0
    while (
        email := Email.objects.due(clock()).filter(pk__gt=last).order_by("pk").first()
    ):
        last = email.pk
        if not email.claim(clock()):
            continue
        _send(email, connection, sender=sender, clock=clock)
        email.refresh_from_db()
        yield email
    connection.close()


def _send(email: Email, connection, *, sender: str, clock) -> None:
    if not sender:
        email.mark_failed(
            "The shop has no email address to send from. Add it in the shop settings.",
            clock(),
        )
        return
    try:
        connection.send_messages([email.as_message(sender=sender)])
    except BadHeaderError:
        email.mark_failed("The subject cannot be sent.", clock(), is_final=True)
    except smtplib.SMTPRecipientsRefused as refused:
        (code, answer), *_ = refused.recipients.values()
        email.mark_failed(
            f"The mail server rejected {email.to}: {_smtp_text(answer)}",
            clock(),
            is_final=500 <= code < 600,
        )
    except smtplib.SMTPResponseException as refused:
        email.mark_failed(
            f"The mail server answered {refused.smtp_code}:"
            f" {_smtp_text(refused.smtp_error)}",
            clock(),
        )
    except (smtplib.SMTPException, OSError) as failed:
        email.mark_failed(f"The mail server is not reachable: {failed}", clock())
    else:
        email.mark_sent(clock())
    finally:
        connection.close()


def _smtp_text(answer: bytes | str) -> str:
    return answer.decode(errors="replace") if isinstance(answer, bytes) else answer
