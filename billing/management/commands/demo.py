"""The demo shop: fills an empty database with a bench that never was."""

import secrets

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django.utils import timezone

from billing.handback.printing import cover_paper
from billing.handback.queries import repairs_told
from billing.invoices.models import Invoice
from billing.management.passphrases import passphrase
from billing.management.today import Today
from billing.quotes.models import Quote
from repairs.customers.models import Customer
from repairs.history.demo.actions import fill_past
from repairs.intake.printing import label_pdf, slip_pdf
from repairs.jobs.models import Job
from repairs.stock.models import Part
from shopdesk.printing import PaperFailed
from shopdesk.shop.models import Series, Shop
from shopdesk.staff.models import Kind, User

SEED = 31
MARK = "demo shop"
"""The name of the series that says: this database was filled by us."""

STAFF = (
    ("owner", "Maren Tollgate", Kind.OWNER),
    ("bench", "Juno Pellweather", Kind.BENCH),
    ("counter", "Abel Thistlewick", Kind.COUNTER),
)
SHOP = {
    "name": "The Second Spark",
    "address": "7 Tinker's Hill\nMarlbeck",
    "country": "GB",
    "phone": "01632 960999",
    "email": "desk@secondspark.example",
    "tax_id": "GB 000 0000 00",
    "currency": "GBP",
    "locale": "en_GB",
}


class Command(BaseCommand):
    help = (
        "Fills an empty database with an invented shop: eighteen months of jobs, and"
        " some in every state today. Run again it changes no record and only makes the"
        " sign-ins anew. Refuses a database that holds a shop of its own."
    )

    def add_arguments(self, parser):
        parser.add_argument(
            "--seed",
            type=int,
            default=SEED,
            help="the same seed makes the same shop; any whole number",
        )

    def handle(self, *, seed, **options):
        try:
            sign_ins = self._made(seed)
            folder = self._papers()
        except (PaperFailed, OSError) as error:
            raise CommandError(f"The papers can't be made: {error}") from error
        # The month's table, on the screen and as a paper.
        report = folder / "comebacks.pdf"
        call_command("comebacks", "--pdf", report, stdout=self.stdout)
        self.stdout.write(f"\nSample papers lie in {folder}\n\nSign in as")
        for username, words in sign_ins:
            self.stdout.write(f"  {username:8} {words}")

    @transaction.atomic
    def _made(self, seed):
        """The sign-ins of the shop, which is filled where it was not there."""
        if Series.objects.filter(name=MARK).exists():
            self.stdout.write("The demo shop is here already; no record changed.\n")
        else:
            self._check_empty()
            self._fill(seed)
        return self._new_sign_ins()

    def _check_empty(self):
        for model in (User, Customer, Job, Part, Invoice):
            if model.objects.exists():
                raise CommandError(
                    "This database holds a shop of its own. The demo shop needs an"
                    " empty one: set SHOPDESK_DATA to another folder, or DATABASE_URL"
                    " to another database. Nothing was changed."
                )

    def _fill(self, seed):
        today = timezone.localdate()
        Series.objects.create(name=MARK, last=1)
        Shop.objects.update_or_create(pk=1, defaults=SHOP)
        owner, bench, counter = (
            User.objects.create_user(username, name=name, kind=kind)
            for username, name, kind in STAFF
        )
        fill_past(today=today, seed=seed, by=owner)
        Today(today=today, seed=seed, owner=owner, bench=bench, counter=counter).fill()

    def _new_sign_ins(self):
        """Fresh words each time: there is no fixed password to be found in a book."""
        made = []
        for user in User.objects.filter(username__in=[name for name, *_ in STAFF]):
            words = passphrase(secrets.SystemRandom())
            user.set_password(words)
            user.save(update_fields=["password"])
            made.append((user.username, words))
        order = [name for name, *_ in STAFF]
        return sorted(made, key=lambda one: order.index(one[0]))

    def _papers(self):
        """A sample of each paper, where a printer can be pointed at."""
        folder = settings.DATA_DIR / "papers"
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        shop, at = Shop.current(), timezone.now()
        job = Job.objects.filter(state="booked_in").order_by("id").first()
        quote = Quote.objects.exclude(paper=None).order_by("id").first()
        invoice = Invoice.objects.order_by("id").first()
        back_on = invoice.job.handed_back_on
        papers = {
            "claim-slip.pdf": slip_pdf(job),
            "device-label.pdf": label_pdf(job, size="62x29"),
            "quote.pdf": bytes(quote.paper),
            "invoice.pdf": bytes(invoice.paper),
            "cover.pdf": cover_paper(
                invoice.job,
                told=repairs_told(invoice.job, on=back_on, shop=shop),
                words=shop.cover_words,
                shop=shop,
                made_at=at,
            ),
        }
        for name, paper in papers.items():
            (folder / name).write_bytes(paper)
        return folder
