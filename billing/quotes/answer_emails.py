"""Emails about an answer, queued in its own transaction: both are stored or neither.

An email that cannot be written (no valid address) does not stop the answer.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from django.template.loader import render_to_string

from billing.quotes import states
from billing.quotes.models import Quote
from billing.quotes.papers import file_name
from repairs.jobs.diagnosis_fee import fee_with_tax
from shopdesk.errors import EmailError
from shopdesk.mail import actions as post
from shopdesk.mail.models import Email
from shopdesk.papers.render import document_language
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp

ANSWERED_ONLINE = (Quote.How.LINK, Quote.How.SCREEN)
"""Answers given without staff: the shop is emailed too."""

Attachment = tuple[str, str, bytes]
"""Name, media type and content."""


@dataclass(frozen=True)
class AnswerLinks:
    """Addresses for the links in emails; empty if not known for certain.

    `page` is the customer's own page, `desk` the root of the shop's address. An email
    to the shop never contains `page`: anyone with that link can answer as the customer.
    """

    page: str = ""
    desk: str = ""


NO_LINKS = AnswerLinks()


def email_answer(
    quote: Quote,
    *,
    links: AnswerLinks,
    stamp: Stamp,
    attachments: Sequence[Attachment] = (),
) -> None:
    """Confirm the answer just given; `attachments` go to the customer."""
    shop, job = Shop.current(), quote.job
    is_accepted = quote.state == states.ACCEPTED
    facts = {
        "decision": "yes" if is_accepted else "no",
        "who": one_line(quote.answered_by),
        "how": quote.get_answered_how_display,  # called in their language
        "why": one_line(quote.answer_why),
        "at": stamp.at,
        "promised": job.due_on if job.due_on and job.due_on > stamp.on else None,
    }
    if option := quote.accepted_option:
        facts |= {"option": option, "totals": option.totals()}
        attachments = [quote_attachment(quote, shop=shop), *attachments]
    else:
        facts["fee"] = fee_with_tax(job, on=stamp.on, shop=shop)
    send_emails(
        quote,
        facts,
        template=f"billing/quotes/emails/{quote.state}.txt",
        attachments=attachments,
        how=quote.answered_how,
        shop=shop,
        links=links,
        about=quote.get_absolute_url(),
        stamp=stamp,
    )


def quote_attachment(quote: Quote, *, shop: Shop) -> Attachment:
    """Return the quote's paper as it was sent, byte for byte."""
    with document_language(shop):
        return file_name(quote), "application/pdf", bytes(quote.pdf)


def one_line(typed: str) -> str:
    """Return a visitor's text on one line, so that it cannot pose as lines of ours."""
    return " ".join(typed.split())


def send_emails(
    quote: Quote,
    facts: dict,
    *,
    template: str,
    attachments: Sequence[Attachment],
    how: str,
    shop: Shop,
    links: AnswerLinks,
    about: str,
    stamp: Stamp,
) -> None:
    """Email the customer; the shop too if no staff recorded the answer (`how`)."""
    job = quote.job
    facts |= {
        "quote": quote,
        "job": job,
        "device": job.device,
        "customer": job.customer,
        "written_in": quote.written_in(shop),
        "shop": shop,
    }
    when = {"about": about, "stamp": stamp}
    confirmation = None
    if shop.emails_customer:
        facts["link"] = links.page
        confirmation = _write(template, facts, job.customer.email, attachments, **when)
    if shop.emails_shop and how in ANSWERED_ONLINE:
        desk = f"{links.desk}{job.get_absolute_url()}"
        facts |= {"link": "", "confirmation": confirmation, "desk": desk}
        _write("billing/quotes/emails/shop.txt", facts, shop.email, (), **when)


def _write(template: str, facts: dict, to: str, attachments, **when) -> Email | None:
    """Queue the email; return None if there is no address."""
    subject, text = _render(template, facts)
    try:
        return post.write(
            to, subject=subject, text=text, attachments=attachments, **when
        )
    except EmailError:
        return None


def _render(template: str, facts: dict) -> tuple[str, str]:
    """Return subject (the first line) and text, in the shop's language of papers."""
    with document_language(facts["shop"]):
        text = render_to_string(template, facts)
    # Empty template blocks leave empty lines.
    text = re.sub(r"[ \t]+\n", "\n", text.strip())
    subject, _, body = re.sub(r"\n{3,}", "\n\n", text).partition("\n")
    return subject, body.strip() + "\n"
