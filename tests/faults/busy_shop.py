"""A shop with work in progress, and people who save things there through its pages."""

import http.client
import threading
from dataclasses import dataclass, field
from datetime import timedelta
from decimal import Decimal
from functools import partial

from django.db import connection
from django.utils import timezone
from lxml import html

from billing.invoices.models import Payment
from billing.quotes import sending
from repairs.jobs import states
from repairs.jobs.models import Job, Labour, PartUsed
from shopdesk.staff.models import Role, User
from tests import make
from tests.billing import till
from tests.sent_forms import entries
from tests.shopdesk.serving.conftest import NAME, PASSWORD, Visitor

COUNTER, BENCH = "perrin", "tansy"
PART, STOCK = "J-5", 5000


def fill_shop():
    """Staff, a device at the bench, one of an accepted quote, and four to hand over."""
    make.shop(name="Tallow & Finch", country="GB", owners_need_second_factor=False)
    for name, role in (
        (NAME, Role.OWNER),
        (COUNTER, Role.COUNTER),
        (BENCH, Role.BENCH),
    ):
        User.objects.create_user(name, PASSWORD, name=name.title(), role=role)
    fault = make.fault("PWR-1")
    job = make.job(number="T-BENCH", state=states.APPROVED)
    make.repair(job, fault, fix=make.fix(fault))
    make.part(number=PART, on_hand=STOCK)
    _accepted("T-QUOTE")
    for number in range(4):
        till.mend(_accepted(f"T-READY{number}").job)


def _accepted(number):
    # So early that a clock that goes back is not refused for that.
    on = timezone.localdate() - timedelta(days=900)
    quote = till.drafted(number=number, on=on)
    return till.accept_online(sending.send(quote, stamp=make.stamp(on=till.TODAY)))


def the_job(number):
    return Job.objects.get(number=number)


# --- what people save -----------------------------------------------------------------


@dataclass(frozen=True)
class Form:
    """A form as it was sent: a page, its entries, and the tag by which it is found."""

    path: str
    entries: dict
    tag: str


def minutes(visitor, n):
    job = the_job("T-BENCH").pk
    sent = form_of(visitor.get(f"/bench/{job}/"), f"/bench/{job}/book_minutes/")
    tag = f"note {n}"
    sent |= {"minutes-minutes": "5", "minutes-note": tag}
    return Form(f"/bench/{job}/book_minutes/", sent, tag)


def part(visitor, n):
    job = the_job("T-BENCH").pk
    sent = form_of(visitor.get(f"/bench/{job}/"), f"/bench/{job}/part/")
    # Quantities differ, so that each row can be told from the others.
    sent |= {"part-part": PART, "part-quantity": str(n + 1)}
    return Form(f"/bench/{job}/part/", sent, str(n + 1))


def deposit(visitor, n):
    job = the_job("T-QUOTE").pk
    path = f"/till/invoices/job/{job}/"
    sent = form_of(visitor.get(path), "", having="in-amount")
    amount = Decimal(n + 1) / 100
    sent |= {"in-amount": f"{amount:.2f}", "in-means": "card"}
    return Form(path, sent, f"{amount:.2f}")


def booking(visitor, n):
    sent = form_of(visitor.get("/counter/"), "/counter/")
    tag = f"guest {n}"
    sent |= {
        "step": "book",
        "customer": "new",
        "device": "new",
        "c-name": f"Guest {n}",
        "c-email": f"guest{n}@example.org",
        "c-preferred_contact": "email",
        "d-serial": f"GUEST-{n}",
        "d-kind": "laptop",
        "d-maker": "Norwind",
        "d-model": "Slate 14",
        "complaint": tag,
        "came_by": "counter",
        "data_access": "ask",
    }
    return Form("/counter/", sent, tag)


SAVED = {
    minutes: lambda: Labour.objects.values_list("note", flat=True),
    part: lambda: map(str, PartUsed.objects.values_list("quantity", flat=True)),
    deposit: lambda: (
        f"{amount:.2f}"
        for amount in Payment.objects.filter(invoice=None, means="card").values_list(
            "amount", flat=True
        )
    ),
    booking: lambda: Job.objects.filter(complaint__startswith="guest ").values_list(
        "complaint", flat=True
    ),
}
"""The tags of what is in the database, by what was saved."""
WHO = {minutes: BENCH, part: BENCH, deposit: COUNTER, booking: COUNTER}


def form_of(page, action, *, having=""):
    """What a browser would send of the form that leads to `action`."""
    assert page.status == 200, f"{page.status}: {page.text[:300]}"
    for form in html.fromstring(page.text.encode()).forms:
        sent = dict(entries(form))
        if (form.get("action") or "") == action and (not having or having in sent):
            sent.pop("csrfmiddlewaretoken", None)
            return sent
    raise AssertionError(f"no form leads to {action!r}")


# --- people ---------------------------------------------------------------------------


@dataclass
class Person:
    """Saves one kind of thing again and again; knows what was acknowledged."""

    port: int
    kind: object
    acknowledged: list = field(default_factory=list)
    unanswered: list = field(default_factory=list)
    answers: list = field(default_factory=list)
    """Statuses that acknowledge nothing."""
    sent: int = 0
    is_sending: bool = False

    def sign_in(self):
        self.visitor = Visitor(self.port)
        answer = self.visitor.sign_in(WHO[self.kind])
        assert answer.status == 302, answer.text
        return self

    def save(self):
        """Save one thing; return whether the server answered."""
        form = None
        try:
            form = self.kind(self.visitor, self.sent)
            self.sent += 1
            self._send(form)
        except (OSError, http.client.HTTPException):
            if form is not None:
                self.unanswered.append(form)
            return False
        return True

    def _send(self, form):
        self.is_sending = True
        try:
            answer = self.visitor.post(form.path, **form.entries)
        finally:
            self.is_sending = False
        if answer.status == 302:
            self.acknowledged.append(form)
        else:
            self.answers.append((answer.status, answer.text))

    def send_again(self):
        """Send again, with the same key, what was not answered."""
        forms, self.unanswered = self.unanswered, []
        for form in forms:
            self._send(form)

    def saved(self):
        """Return the tags of all that is in the database of this kind."""
        return sorted(SAVED[self.kind]())

    def tags(self, *, of):
        return {form.tag for form in of}


class Work:
    """All work at once, until the block ends or their server does not answer."""

    def __init__(self, people):
        self.people, self.stop, self.errors = people, threading.Event(), []
        self.threads = [
            threading.Thread(target=partial(self._work, one)) for one in people
        ]

    def __enter__(self):
        for thread in self.threads:
            thread.start()
        return self

    def _work(self, person):
        try:
            while not self.stop.is_set() and person.save():
                pass
        except Exception as error:
            self.errors.append(error)
        finally:
            connection.close()

    def __exit__(self, *error):
        self.stop.set()
        for thread in self.threads:
            thread.join()
        if self.errors:
            raise self.errors[0]

    def count(self):
        return sum(len(one.acknowledged) for one in self.people)
