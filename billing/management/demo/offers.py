"""The demo shop's quotes and forms, and what customers say to them."""

from django.urls import reverse
from django.utils import timezone

from billing.management.demo.bench import Bench
from billing.quotes import actions as quotes
from billing.quotes.link import actions as links
from billing.quotes.link.queries import as_shown, offers
from billing.quotes.models import Option, Quote
from billing.quotes.repair_form import actions as forms
from repairs.jobs.models import Job
from shopdesk.shop.models import Shop

INK = (
    "M40 140L60 60L80 50L92 74L84 110L60 132L48 138M100 130L112 96L128 92L132 112L120"
    " 130L138 126L152 92L160 88L162 128L178 92L192 90L196 128L212 120M228 128L262 40"
    "L276 36L280 52L262 96L240 128L300 118"
)
"""What somebody drew: a name nobody can read."""


class Offers(Bench):
    """What is asked, by which way the customer reads it, and what they answer."""

    link = ""
    """Where one customer reads their quote."""

    def __init__(self, *, site: str, **who) -> None:
        super().__init__(**who)
        self.site = site

    # --- asked ----------------------------------------------------------------------

    def consented(self, code: str, *, days: int) -> Job:
        """The fee for finding the fault was agreed to at the counter."""
        job = self.booked_in(code, days=days)
        with self._at(days, 12):
            forms.consent(
                job,
                fee=Shop.current().diagnosis_fee,
                who=job.customer.name,
                how=Quote.How.COUNTER,
                at=timezone.now(),
                by=self.counter,
            )
        return job

    def quoted(self, code: str, *, days: int) -> Job:
        job = self.diagnosed(code, days=days)
        self._send(job, days=days - 1)
        self._wait(job, "customer")
        return job

    def quoted_by_link(self, code: str, *, days: int) -> Job:
        """The address at which the customer can answer stands on the paper."""
        job = self.diagnosed(code, days=days)
        with self._at(days - 1, 15):
            old, _ = self._new_link(job, days=days - 1)
            links.revoke(old, at=timezone.now(), by=self.counter)
            link, token = self._new_link(job, days=days - 1)
        self.link = self.site + reverse("link:page", args=[token])
        self._send(job, days=days - 1, link=self.link)
        with self._at(days - 2, 19):
            link.count_view(at=timezone.now())
        self._wait(job, "customer")
        return job

    def _new_link(self, job: Job, *, days: int):
        return links.make_link(
            job, on=self._day(days), at=timezone.now(), by=self.counter
        )

    def quoted_by_form(self, code: str, *, days: int) -> Job:
        """One option was given as a form, another is being filled up."""
        job = self.diagnosed(code, days=days)
        quote = self._send(job, days=days - 1)
        options = [*quote.options.all()]
        self._give_form(options[0], days=days - 1)
        with self._at(days - 2, 11):
            forms.make(options[-1], at=timezone.now(), by=self.counter)
        self._wait(job, "customer")
        return job

    def _give_form(self, option: Option, *, days: int):
        with self._at(days, 17):
            form = forms.make(option, at=timezone.now(), by=self.counter)
            return forms.give(
                form, on=self._day(days), at=timezone.now(), by=self.counter
            )

    def revised(self, code: str, *, days: int) -> Job:
        """The customer asked what else there is: a new version is being written."""
        job = self.diagnosed(code, days=days)
        quote = self._send(job, days=days - 1)
        with self._at(days - 2, 9):
            new = quotes.revise(quote, by=self.counter)
            quotes.add_giving_back(new, on=self._day(days - 2))
        job.refresh_from_db()
        return job

    def _send(self, job: Job, *, days: int, link: str = "") -> Quote:
        with self._at(days, 16):
            quote = quotes.draft(job, on=self._day(days), by=self.bench)
            quote = quotes.send(
                quote, on=self._day(days), at=timezone.now(), by=self.counter, link=link
            )
        job.refresh_from_db()
        return quote

    # --- answered -------------------------------------------------------------------

    def approved(self, code: str, *, days: int, how: str = Quote.How.PHONE) -> Job:
        job = self.diagnosed(code, days=days)
        quote = self._send(job, days=days - 1)
        option = self.pick.choice([*quote.options.filter(does=Option.Does.REPAIR)])
        if how in (Quote.How.LINK, Quote.How.SCREEN):
            self._say_yes(quote, option, days=days - 2, how=how)
        else:
            with self._at(days - 2, 9):
                quotes.accept(
                    quote,
                    option=option,
                    version=quote.version,
                    who=job.customer.name,
                    how=how,
                    on=self._day(days - 2),
                    at=timezone.now(),
                    by=self.counter,
                )
        job.refresh_from_db()
        self._wait(job, "")
        return job

    def _say_yes(self, quote: Quote, option: Option, *, days: int, how: str) -> None:
        """By the customer's own hand: on a telephone, or on the counter's screen."""
        at_counter = how == Quote.How.SCREEN
        with self._at(days, 9):
            if not at_counter:
                link, _ = self._new_link(quote.job, days=days)
                link.count_view(at=timezone.now())
            links.say_yes(
                quote,
                option=option,
                version=quote.version,
                shown=as_shown(offers(quote, shop=Shop.current())),
                who=quote.job.customer.name,
                how=how,
                on=self._day(days),
                at=timezone.now(),
                by=self.counter if at_counter else None,
                ink=INK if at_counter else "",
            )

    def approved_by_form(self, code: str, *, days: int) -> Job:
        """The customer took the conditions of the form they were given."""
        job = self.diagnosed(code, days=days)
        quote = self._send(job, days=days - 1)
        form = self._give_form(quote.options.first(), days=days - 1)
        with self._at(days - 2, 9):
            forms.accept(
                form,
                who=job.customer.name,
                how=Quote.How.EMAIL,
                on=self._day(days - 2),
                at=timezone.now(),
                by=self.counter,
            )
        job.refresh_from_db()
        self._wait(job, "")
        return job

    def declined(self, code: str, *, days: int) -> Job:
        job = self.diagnosed(code, days=days)
        quote = self._send(job, days=days - 1)
        with self._at(days - 3, 11):
            quotes.decline(quote, how=Quote.How.PHONE, by=self.counter, **self._no(job))
        job.refresh_from_db()
        return job

    def declined_by_link(self, code: str, *, days: int) -> Job:
        job = self.diagnosed(code, days=days)
        quote = self._send(job, days=days - 1)
        with self._at(days - 3, 20):
            link, _ = self._new_link(job, days=days - 3)
            link.count_view(at=timezone.now())
            links.say_no(
                quote,
                how=Quote.How.LINK,
                shown=as_shown(offers(quote, shop=Shop.current())),
                **self._no(job),
            )
        job.refresh_from_db()
        return job

    @staticmethod
    def _no(job: Job) -> dict:
        return {
            "version": 1,
            "why": "A new one costs little more.",
            "who": job.customer.name,
            "at": timezone.now(),
        }
