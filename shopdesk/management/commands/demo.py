"""Fill an empty database with an invented shop."""

import os
import random
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
from repairs.customers.models import Customer
from repairs.jobs.models import Job
from repairs.stock.models import Part
from shopdesk.demo.past_import import import_past
from shopdesk.demo.samples import SAMPLES
from shopdesk.demo.setup import STAFF, set_up_shop
from shopdesk.demo.stock_count import count_stock
from shopdesk.demo.stories import JOBS, RETURNS, run_all
from shopdesk.demo.story import Story
from shopdesk.errors import PdfError
from shopdesk.shop.models import Series
from shopdesk.staff.models import User

SEED = 31
MARK = "demo shop"
"""The number series by which a later run recognises the demo database."""
LINK_FILE = "customers-link.txt"
"""Stored with the documents, since the database has only a hash of the link's token."""
CONSONANTS, VOWELS = "bdfgkmnprstvz", "aeiou"


class Command(BaseCommand):
    help = (
        "Fill an empty database with a demo shop: eighteen months of jobs, and some in"
        " every state today. Running it again only resets the sign-ins. A database"
        " that holds another shop is refused."
    )

    def add_arguments(self, parser):
        parser.add_argument(
            "--seed",
            type=int,
            default=SEED,
            help="any whole number; the same seed makes the same shop",
        )

    def handle(self, *, seed, verbosity, **options):
        self.quiet = not verbosity
        folder = settings.DATA_DIR / "papers"
        try:
            sign_ins, link = self._fill_or_reset(seed)
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            if link:
                (folder / LINK_FILE).write_text(f"{link}\n")
                (folder / LINK_FILE).chmod(0o600)
            self._write_samples(folder)
        except (PdfError, OSError) as error:
            raise CommandError(
                f"The sample documents could not be made: {error}"
            ) from error
        # This prints the comeback table.
        report = folder / "comebacks.pdf"
        call_command("comebacks", "--pdf", report, stdout=self.stdout)
        self._report(folder, sign_ins)

    @transaction.atomic
    def _fill_or_reset(self, seed):
        """Return new sign-ins, and a customer's link if the shop was filled now."""
        link = ""
        if Series.objects.filter(name=MARK).exists():
            self.stdout.write("The demo shop exists already. No record was changed.\n")
        else:
            self._check_empty()
            link = self._fill(seed)
        return self._reset_sign_ins(), link

    def _check_empty(self):
        for model in (User, Customer, Job, Part, Invoice):
            if model.objects.exists():
                raise CommandError(
                    "This database already holds a shop. The demo needs an empty one:"
                    " set SHOPDESK_DATA to another folder, or DATABASE_URL to another"
                    " database. Nothing was changed."
                )

    def _fill(self, seed):
        today = timezone.localdate()
        Series.objects.create(name=MARK, last=1)
        staff = set_up_shop()
        with self._bar(None, "eighteen months") as bar:
            import_past(today=today, seed=seed, by=staff[0], progress=bar.update)
        story = Story(staff, today=today, seed=seed, site=self._site())
        with self._bar(len(JOBS) + len(RETURNS), "the last weeks") as bar:
            run_all(story, progress=bar.update)
        count_stock(story)
        return story.link

    def _bar(self, total, what, unit=" jobs"):
        """Return a progress bar; it shows only on a terminal."""
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
        """Return the address of the shop as a customer would open it."""
        here = f"http://127.0.0.1:{os.environ.get('PORT') or 8000}"
        return settings.PUBLIC_URL.rstrip("/") or here

    @staticmethod
    def _reset_sign_ins():
        """Set new passphrases each time: fixed ones would be public."""
        sign_ins = []
        for username, *_ in STAFF:
            if user := User.objects.filter(username=username).first():
                words = passphrase(secrets.SystemRandom())
                user.set_password(words)
                user.save(update_fields=["password"])
                sign_ins.append((username, words))
        return sign_ins

    def _write_samples(self, folder):
        with self._bar(len(SAMPLES), "documents", unit=" documents") as bar:
            for name, document in SAMPLES.items():
                (folder / name).write_bytes(document())
                bar.update()

    def _report(self, folder, sign_ins):
        names = ", ".join([*SAMPLES, "comebacks.pdf"])
        self.stdout.write(f"\nSample documents in {folder}:\n{fill(names, width=96)}")
        link = folder / LINK_FILE
        if link.exists():
            self.stdout.write(
                f"\nA customer’s link to their quote:\n  {link.read_text()}"
            )
        self.stdout.write("Sign in as")
        for username, words in sign_ins:
            self.stdout.write(f"  {username:8} {words}")


def passphrase(pick: random.Random, *, words: int = 5) -> str:
    """Return invented words and two digits: `tabo-kemi-nuru-zepo-dagi-47`, 60 bits."""
    invented = [
        "".join(pick.choice(letters) for letters in (CONSONANTS, VOWELS) * 2)
        for _ in range(words)
    ]
    return "-".join([*invented, str(pick.randrange(10, 100))])
