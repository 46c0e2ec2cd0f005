"""The demo shop: fills an empty database with a bench that never was."""

import os
import secrets
import sys
from textwrap import fill

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django.utils import timezone
from tqdm import tqdm

from billing.invoices.models import Invoice
from billing.management.demo.papers import SAMPLES, samples
from billing.management.demo.passphrases import passphrase
from billing.management.demo.shop import STAFF, set_up
from billing.management.demo.today import Today
from repairs.customers.models import Customer
from repairs.history.demo.actions import fill_past
from repairs.jobs.models import Job
from repairs.stock.models import Part
from shopdesk.printing import PaperFailed
from shopdesk.shop.models import Series
from shopdesk.staff.models import User

SEED = 31
MARK = "demo shop"
"""The name of the series that says: this database was filled by us."""
LINK = "customers-link.txt"
"""Beside the papers; of the token behind it the books keep only a hash."""


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

    def handle(self, *, seed, verbosity, **options):
        self.quiet = not verbosity
        folder = settings.DATA_DIR / "papers"
        try:
            sign_ins, link = self._made(seed)
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            if link:
                (folder / LINK).write_text(f"{link}\n")
                (folder / LINK).chmod(0o600)
            self._lay_out_papers(folder)
        except (PaperFailed, OSError) as error:
            raise CommandError(f"The papers can't be made: {error}") from error
        # The month's table, on the screen and as a paper.
        report = folder / "comebacks.pdf"
        call_command("comebacks", "--pdf", report, stdout=self.stdout)
        self._tell(folder, sign_ins)

    @transaction.atomic
    def _made(self, seed):
        """The sign-ins of the shop, which is filled where it was not there; then with
        the link of a customer."""
        link = ""
        if Series.objects.filter(name=MARK).exists():
            self.stdout.write("The demo shop is here already; no record changed.\n")
        else:
            self._check_empty()
            link = self._fill(seed)
        return self._new_sign_ins(), link

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
        set_up()
        owner, bench, counter = (
            User.objects.create_user(username, name=name, kind=kind)
            for username, name, kind in STAFF
        )
        with self._bar(None, "eighteen months") as bar:
            fill_past(today=today, seed=seed, by=owner, progress=bar.update)
        told = Today(
            today=today,
            seed=seed,
            owner=owner,
            bench=bench,
            counter=counter,
            site=self._site(),
        )
        with self._bar(told.jobs, "the last weeks") as bar:
            told.fill(progress=bar.update)
        return told.link

    def _bar(self, total, what, unit=" jobs"):
        """A progress bar; none where nobody watches a terminal."""
        return tqdm(
            total=total,
            desc=what,
            unit=unit,
            leave=False,
            file=sys.stderr,
            disable=True if self.quiet else None,
        )

    @staticmethod
    def _site():
        """Where the shop is opened: as the customer would, or else on this machine."""
        here = f"http://127.0.0.1:{os.environ.get('PORT') or 8000}"
        return settings.PUBLIC_URL.rstrip("/") or here

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

    def _lay_out_papers(self, folder):
        """A sample of each paper, where a printer can be pointed at."""
        with self._bar(len(SAMPLES), "papers", unit=" papers") as bar:
            for name, paper in samples():
                (folder / name).write_bytes(paper)
                bar.update()

    def _tell(self, folder, sign_ins):
        names = ", ".join([*SAMPLES, "comebacks.pdf"])
        self.stdout.write(f"\nSample papers lie in {folder}:\n{fill(names, width=96)}")
        link = folder / LINK
        if link.exists():
            self.stdout.write(
                f"\nA customer reads their quote at\n  {link.read_text()}"
            )
        self.stdout.write("Sign in as")
        for username, words in sign_ins:
            self.stdout.write(f"  {username:8} {words}")
