"""All that one customer can be given, each kind once, and what it says.

What people type is of no language here, so that every word of one is ours.
"""

import html
import re
from datetime import timedelta
from decimal import Decimal
from itertools import count
from urllib.parse import unquote
from uuid import uuid4

from django.test import Client
from django.urls import reverse
from django.utils import timezone

from billing.changes import actions as changes
from billing.handover.actions import hand_over
from billing.handover.models import Parcel, WarrantyCertificate
from billing.handover.shipping import CERTIFICATE, INVOICE, POST, SOUND, HandoverDetails
from billing.invoices.crediting import issue_credit_note
from billing.invoices.issuing import issue_invoice
from billing.invoices.models import Invoice
from billing.invoices.payments import record_deposit
from billing.quotes import drafting, sending
from billing.quotes.links import create_link
from billing.reminders.actions import send_reminder
from billing.repair_form import actions as forms
from repairs.customers.models import Customer
from repairs.faults.models import UsualPart
from repairs.intake.papers import render_slip_pdf
from repairs.jobs import states, workflow
from repairs.jobs.models import Job
from shopdesk.mail.models import Email
from shopdesk.shop.models import Shop
from tests import make
from tests.billing import till
from tests.billing.changes.test_change_order import line
from tests.papers import text_of

TOKEN = re.compile(r"/q/[\w-]{43}")
SEEN = re.compile(
    r"<(?:script|style)\b.*?</(?:script|style)>|"
    r'\b(?:alt|aria-label|content|data-saving|placeholder|title)="([^"]*)"',
    re.S,
)
TO = "xanthu@qorl.example"
# Whoever reads a page aloud does not read these.
UNREAD = re.compile(r"<meta\b[^>]*>|<input\b[^>]*hidden[^>]*>", re.S)


def text(pdf):
    """What a paper says, as a program of others reads it."""
    return " ".join(text_of(pdf).split())


def told(answer):
    """What a page says: its text, and what is read aloud or shown besides."""
    page = UNREAD.sub("", answer.content.decode())
    besides = [one for one in SEEN.findall(page) if one]
    plain = re.sub(r"<[^>]*>", " ", SEEN.sub("", page))
    return html.unescape(" ".join(" ".join([plain, *besides]).split()))


class AllKinds:
    """Makes them, one after the other; `said` has the words of each by its name."""

    def __init__(self, **shop):
        self.shop = make.shop(
            **{
                "name": "Qorl",
                "address": "Qorl 7",
                "phone": "+441632960111",
                "email": "qorl@qorl.example",
                "tax_rate": Decimal(19),
                "uses_repair_form": True,
                **shop,
            }
        )
        self.desk = Client()
        self.desk.force_login(make.user(name="Zorb"))
        self.desk_pages = {}
        self.said = {}
        self.papers, self.pages = {}, {}
        self.numbers = count(1)
        owner = make.customer("Xanthu", email=TO, address="Xanthu 1", country="GB")
        model = make.device_model(kind="Pladd", maker="Wurm", model="Zyx")
        self.device = make.device(owner, model, serial="ZX-1")
        self.on = timezone.localdate()

    def all(self):
        self.quote_and_answer()
        self.more_options()
        self.posted()
        self.under_warranty()
        self.without_repair()
        self.refused_pages()
        for n, letter in enumerate(Email.objects.filter(to=TO).order_by("id")):
            names = [one.name for one in letter.attachments.all()]
            said = "\n".join([letter.subject, letter.text, *names])
            self.said[f"letter {n}"] = TOKEN.sub("/q/", said)
        return self

    def paper(self, name, pdf):
        self.papers[name] = bytes(pdf)
        self.said[name] = text(pdf)

    def lines(self, name, option):
        """What is kept of an option as text."""
        kept = [option.title, option.description, option.track_record]
        self.said[name] = "\n".join([*kept, *(one.text for one in option.lines.all())])

    def found(self, *kinds, parts=1, times=0, back=0):
        """A fault with a fix of each of `kinds`, done so many times."""
        fault = make.fault(name="Flurb")
        for kind in kinds:
            fix = make.fix(fault, name=f"Gnarf {kind[0]}", fix_type=kind, minutes=45)
            for n in range(parts):
                part = make.part(on_hand=5, name=f"Sprock{n}")
                UsualPart.objects.create(fix=fix, part=part, quantity=2)
            for n in range(times):
                on = self.on - timedelta(days=300 - n)
                back_on = on + timedelta(days=20) if n < back else None
                make.past_repair(fault, fix, on=on, back_on=back_on)
        return fault

    def job(self, *faults, by_post=False, fee=Decimal(25)):
        job = make.job(
            self.device,
            complaint="Blorp",
            agreed_diagnosis_fee=fee,
            came_by="post" if by_post else "counter",
            on=self.on,
            number=f"X-{next(self.numbers):05d}",
        )
        for fault in faults:
            make.repair(job, fault)
        return job

    def draft(self, job):
        workflow.diagnose(job, stamp=make.stamp())
        return drafting.draft(job, stamp=make.stamp(on=self.on))

    def send(self, quote, **more):
        return sending.send(quote, **more, stamp=make.stamp(on=self.on))

    def link(self, job):
        token = create_link(job, stamp=make.stamp(on=self.on))[1]
        return reverse("link:page", args=[token])

    def page(self, name, where, sent=None):
        """What the customer reads there, with or without an answer."""
        # From another address each time: none has knocked too often.
        client = Client(REMOTE_ADDR=f"192.0.2.{len(self.pages)}")
        answer = client.post(where, sent) if sent else client.get(where)
        if answer.status_code == 303:
            answer = client.get(where)
        self.said[name] = TOKEN.sub("/q/", told(answer))
        self.pages[name] = answer

    def boxes(self, where, prefix, **typed):
        """What a browser sends of the page, with what is typed into it."""
        page = Client(REMOTE_ADDR="192.0.2.250").get(where).content.decode()
        hidden = re.findall(rf'name="({prefix}-\w+)" value="([^"]*)"', page)
        return dict(hidden) | {f"{prefix}-{key}": typed[key] for key in typed}

    def quote_and_answer(self):
        """Over the counter: a quote of two, its form, a change, the bill, a note."""
        job = self.job(self.found("lasting", "stopgap", times=10, back=1))
        self.paper("slip", render_slip_pdf(job, shop=Shop.current()))
        quote = self.draft(job)
        self.said["quote's words"] = quote.findings
        for option in quote.options.all():
            self.lines(f"option {option.fix_type}", option)
        self.desk_pages["draft"] = self.desk.get(quote.get_absolute_url())
        self.paper("draft", self.of("quotes:paper", quote.pk))
        where = self.link(job)
        self.page("page before the quote", where)
        # The address on it is another each time, and the paper should not be.
        quote = self.send(quote, link="https://qorl.example/q/zx")
        self.paper("quote", quote.pdf)
        self.desk_pages["sent"] = self.desk.get(quote.get_absolute_url())
        self.desk.post(reverse("quotes:mail", args=[quote.pk]))
        self.said["letter by hand"] = TOKEN.sub("/q/", self.by_hand(job))
        self.page("page with the quote", where)
        screen = self.desk.get(reverse("customer_links:sign_here", args=[job.pk]))
        self.said["counter's screen"] = told(screen)
        self.form(quote.options.last())
        self.page("page with a stale yes", where, {"answer": "yes"})
        wrong = self.boxes(where, "no", who="", why="")
        self.page("page with a wrong no", where, wrong | {"answer": "no"})
        yes = self.boxes(where, "yes", who="Xanthu", option=quote.options.first().pk)
        self.page("page after the yes", where, yes | {"answer": "yes"})
        late = yes | {"yes-option": quote.options.last().pk, "answer": "yes"}
        self.page("page with another yes too late", where, late)
        change = changes.record(
            Job.objects.get(pk=job.pk),
            why="Snorp.",
            lines=[line("10.00", text="Sprock9", rate=19)],
            stamp=make.stamp(),
        )
        self.page("page with a change", where)
        agreed = self.boxes(where, "change", who="Xanthu")
        self.page("page after the change", where, agreed | {"answer": "change yes"})
        assert not type(change).objects.get(pk=change.pk).is_open
        job.refresh_from_db()
        paid = record_deposit(
            job,
            amount=Decimal(20),
            means="cash",
            key=uuid4(),
            stamp=make.stamp(on=self.on),
        )
        self.paper("receipt", paid.receipt.pdf)
        till.mend(job)
        self.page("page when it is ready", where)
        bill = hand_over(
            job,
            version=None,
            stamp=make.stamp(on=self.on),
            details=HandoverDetails(
                to="Xanthu", mail=frozenset({INVOICE, CERTIFICATE})
            ),
        )
        self.paper("invoice", bill.pdf)
        self.said["invoice's words"] = bill.text
        self.paper("warranty certificate", WarrantyCertificate.objects.get(job=job).pdf)
        self.page("page after handing back", where)
        overdue = bill.due_on + timedelta(days=3)
        for n, days in enumerate((0, 20)):
            shown = self.desk.get(reverse("reminders:remind", args=[bill.pk]))
            words = shown.context["form"]["text"].value()
            reminder = send_reminder(
                Invoice.objects.get(pk=bill.pk),
                stamp=make.stamp(on=overdue + timedelta(days=days)),
                text=words,
                fee=Decimal(5),
                mail=True,
            )
            self.paper(f"reminder {n}", reminder.pdf)
        note = issue_credit_note(bill, why="Snorp.", stamp=make.stamp(on=self.on))
        self.paper("credit note", note.pdf)

    def of(self, name, *args):
        return b"".join(self.desk.get(reverse(name, args=args)))

    def by_hand(self, job):
        """The letter that the desk's own mail program is handed with a new link."""
        page = self.desk.post(reverse("customer_links:for_job", args=[job.pk]))
        return unquote(page.context["mail"])

    def form(self, option):
        made = forms.make(option, stamp=make.stamp())
        self.said["form's texts"] = "\n".join([made.defect, made.measures, made.more])
        given = forms.issue(made, stamp=make.stamp(on=self.on))
        self.paper("repair form", given.pdf)
        self.desk.post(reverse("repair_form:mail", args=[given.pk]))

    def more_options(self):
        """Two faults at once, given back, another board, an empty one; refused."""
        two = [self.found("lasting", parts=0), self.found("stopgap", parts=0)]
        job = self.job(*two, by_post=True)
        quote = self.draft(job)
        drafting.add_no_repair(quote, on=self.on)
        drafting.add_board_replacement(quote, on=self.on)
        self.said["empty option"] = drafting.add_option(quote).title
        quote.options.last().delete()
        board = quote.options.last()
        board.lines.filter(kind="part").update(price=Decimal(1234), amount=1234)
        for n, option in enumerate(quote.options.all()):
            self.lines(f"further option {n}", option)
        quote = self.send(quote)
        self.paper("quote of four", quote.pdf)
        where = self.link(job)
        yes = self.boxes(where, "yes", who="Xanthu", option=quote.options.last().pk)
        no = self.boxes(where, "no", who="Xanthu", why="Snorp")
        self.page("page after the no", where, no | {"answer": "no"})
        self.page("page with a yes after the no", where, yes | {"answer": "yes"})
        # Nobody knows a fix: the fault gives its name to the option.
        Shop.objects.update(deducts_diagnosis_fee=True)
        quote = self.draft(self.job(make.fault(name="Flurb")))
        self.lines("option without a fix", quote.options.get())
        Shop.objects.update(deducts_diagnosis_fee=False)

    def posted(self):
        """A stopgap that goes home in a parcel, without tax and before its time."""
        Shop.objects.update(tax_kind="reverse", prices_include_tax=True)
        job = self.job(self.found("stopgap", times=3, back=1), by_post=True, fee=None)
        Customer.objects.filter(pk=job.customer_id).update(tax_id="DE123456789")
        job.refresh_from_db()
        quote = self.send(self.draft(job))
        self.lines("option done a few times", quote.options.get())
        self.paper("quote without tax", quote.pdf)
        self.page("page without tax", self.link(job))
        job = till.mend(till.accept_online(quote, on=self.on).job)
        bill = hand_over(
            job,
            version=None,
            stamp=make.stamp(on=self.on),
            paid=Decimal(1),
            means="cash",
            details=HandoverDetails(
                how=POST, carrier="Zoll", number="Z1", battery=SOUND, mail={INVOICE}
            ),
        )
        self.paper("invoice without tax", bill.pdf)
        self.paper("parcel note", Parcel.objects.get(job=job).pdf)
        Shop.objects.update(tax_kind="standard", prices_include_tax=False)

    def under_warranty(self):
        """A warranty repair costs nothing, and says so."""
        fault = self.found("lasting")
        fix = fault.fixes.get()
        earlier = make.past_repair(
            fault,
            fix,
            on=self.on - timedelta(days=40),
            of=self.device,
            warranty_until=self.on + timedelta(days=140),
            warranty_days=180,
        )
        job = make.comeback(earlier, on=self.on).job
        make.repair(job, fault, fix=fix)
        workflow.diagnose(job, stamp=make.stamp())
        workflow.approve_warranty_repair(job, stamp=make.stamp())
        self.page("page of a warranty repair", self.link(job))
        bill = issue_invoice(till.mend(job), stamp=make.stamp(on=self.on))
        self.said["invoice of a warranty repair"] = "\n".join(
            one.text for one in bill.lines.all()
        )
        self.paper("invoice of nothing", bill.pdf)

    def without_repair(self):
        """Looked for and not found: the fee, or nothing."""
        for name, fee in (("fee", Decimal(25)), ("no fee", None)):
            job = self.job(self.found("lasting"), fee=fee)
            job.repairs.update(outcome=states.NO_FAULT_FOUND)
            workflow.close(
                job, outcome=states.NO_FAULT_FOUND, why="Snorp", stamp=make.stamp()
            )
            bill = issue_invoice(job, stamp=make.stamp(on=self.on))
            self.said[f"invoice of a {name}"] = bill.lines.get().text

    def refused_pages(self):
        """A link that opens nothing, and one that was asked for too often."""
        self.page("page of nothing", "/q/zx/")
        for _ in range(400):
            answer = Client().get("/q/zx/")
            if answer.status_code == 429:
                break
        self.said["page to wait"] = re.sub(r"\d+ [Ss]", "9 s", told(answer))
