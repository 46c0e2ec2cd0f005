"""What happens to a quote and its job at once.

The job is always locked before the quote, so that two people never wait for each other.
"""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from decimal import Decimal
from hashlib import sha256

from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext

from billing.pricing.comeback_price import Bearing, Price, reserve_of, shared
from billing.quotes import states
from billing.quotes.limits import MOST_LINES, MOST_OPTIONS
from billing.quotes.link.letters.actions import Paper, tell_of_answer
from billing.quotes.link.letters.ways import UNKNOWN, Ways
from billing.quotes.models import LineKind, Option, Quote, QuoteLine
from billing.quotes.printing import file_name, quote_paper
from billing.quotes.queries import (
    Proposal,
    changing_the_board,
    chosen_in,
    giving_back,
    mended_by,
    proposals,
    reckoned,
)
from repairs.jobs import states as job_states
from repairs.jobs.models import Job, NotYet, Repair
from shopdesk.money import rounded
from shopdesk.post import actions as post
from shopdesk.post.models import Letter
from shopdesk.printing import in_paper_language
from shopdesk.shop.models import Shop
from shopdesk.shop.tax import Tax
from shopdesk.templatetags.desk import day


def locked(quote: Quote) -> tuple[Job, Quote]:
    """The job and the quote as the database has them, held until the end."""
    job = Job.objects.select_for_update().get(pk=quote.job_id)
    return job, Quote.objects.select_for_update().get(pk=quote.pk)


@transaction.atomic
def draft(job: Job, *, on: date, by) -> Quote:
    """A new quote with the options that the fault book and the rates propose."""
    job = Job.objects.select_for_update().get(pk=job.pk)
    if job.state != job_states.DIAGNOSED:
        raise NotYet(
            f"A quote is made for a job that is diagnosed; this one is"
            f" {job.get_state_display()}."
        )
    live = job.quotes.live().first()
    if live and not live.is_draft:
        # The bench took the job back: nobody may say yes to the old version any more.
        return revise(live, by=by, why="")
    if live:
        raise NotYet(
            f"Version {live.version} of the quote is {live.get_state_display()}:"
            " go on with that one."
        )
    shop = Shop.current()
    with in_paper_language(shop):
        found = _what_was_found(job)
        proposed = proposals(job, on=on, shop=shop)
    quote = Quote.objects.create(
        job=job,
        version=_next_version(job),
        words=found,
        prices_include_tax=shop.prices_include_tax,
        currency=shop.currency,
        made_by=by,
    )
    held = shop.tax(on, job.customer.tax_kind)
    for position, proposal in enumerate(proposed, 1):
        _write(quote, proposal, position=position, shop=shop, held=held)
    return quote


def _next_version(job: Job) -> int:
    return (job.quotes.aggregate(n=Max("version"))["n"] or 0) + 1


def _what_was_found(job: Job) -> str:
    names = [repair.fault.name for repair in job.repairs.select_related("fault")]
    if not names:
        return ""
    return gettext("We found: {faults}.").format(faults="; ".join(names))[:2000]


def _write(
    quote: Quote, proposal: Proposal, *, position: int, shop: Shop, held: Tax
) -> None:
    repair, fix = proposal.fixes[0] if len(proposal.fixes) == 1 else (None, None)
    option = quote.options.create(
        position=position,
        title=proposal.title,
        words=proposal.words,
        repair=repair,
        fix=fix,
        declared=proposal.declared,
        cover_days=proposal.cover_days,
        days_to_do=proposal.days_to_do,
        does=proposal.does,
        known=proposal.known,
        **_figures(proposal.price, shop=shop),
    )
    places = quote.written_in(shop).places
    for n, one in enumerate(proposal.lines[:MOST_LINES], 1):
        line = QuoteLine(
            option=option,
            position=n,
            kind=one.line.kind,
            text=one.line.text[:200],
            quantity=one.line.quantity,
            price=one.line.price or Decimal(0),
            suggested=one.line.price,
            part=one.part,
            repair=one.repair,
            fix=one.fix,
        )
        line.set_tax(held)
        line.reckon(places=places)
        line.save()


def _figures(price: Price | None, *, shop: Shop) -> dict[str, object]:
    """What an option keeps of how its price was reckoned."""
    if price is None:
        return {}
    return {
        "planned_minutes": price.minutes,
        "own_cost": rounded(price.own, places=shop.places),
        "redo_cost": rounded(price.redo, places=shop.places),
        "chance": price.chance,
        "reserve": rounded(price.reserve, places=shop.places),
        "list_price": price.list_price,
        "floor": price.floor,
    }


@transaction.atomic
def reckon_anew(option: Option, *, on: date) -> None:
    """Other days of cover bear another chance: what is suggested follows them.

    What is charged stays as it was typed.
    """
    if option.list_price is None:
        return
    shop = Shop.current()
    job, _ = drafted(option.quote)
    price = reckoned(
        job,
        chosen_in(option),
        cover_days=option.cover_days,
        list_price=option.list_price,
        on=on,
        shop=shop,
    )
    for name, value in _figures(price, shop=shop).items():
        setattr(option, name, value)
    option.save()


@transaction.atomic
def add_giving_back(quote: Quote, *, on: date) -> None:
    """The option to have it back unmended, for the fee and the parcel alone."""
    job, quote = drafted(quote)
    if quote.options.filter(does=Option.Does.RETURN).exists():
        raise NotYet("Giving it back unmended is an option already.")
    shop = Shop.current()
    with in_paper_language(shop):
        proposal = giving_back(job, shop=shop)
    _add(quote, proposal, on=on)


@transaction.atomic
def add_board(quote: Quote, *, on: date) -> None:
    """The option to replace the board; what the board costs is still to be written."""
    job, quote = drafted(quote)
    shop = Shop.current()
    with in_paper_language(shop):
        proposal = changing_the_board(job, shop=shop)
    _add(quote, proposal, on=on)


def _add(quote: Quote, proposal: Proposal, *, on: date) -> None:
    shop = Shop.current()
    held = shop.tax(on, quote.job.customer.tax_kind)
    _write(quote, proposal, position=_next_position(quote), shop=shop, held=held)


def _next_position(quote: Quote) -> int:
    if quote.options.count() >= MOST_OPTIONS:
        raise NotYet(f"A quote has no more than {MOST_OPTIONS} options.")
    return (quote.options.aggregate(n=Max("position"))["n"] or 0) + 1


@transaction.atomic
def add_option(quote: Quote) -> Option:
    """An empty option behind the others."""
    _, quote = drafted(quote)
    position = _next_position(quote)
    with in_paper_language(Shop.current()):
        title = gettext("Option {n}").format(n=position)
    return quote.options.create(position=position, title=title)


@transaction.atomic
def remove_option(option: Option) -> None:
    """Take an option out of a draft."""
    drafted(option.quote)
    option.delete()


@transaction.atomic
def remove_line(quote: Quote, *, pk: int) -> None:
    """Take a line out of a draft; one that is gone already stays gone."""
    drafted(quote)
    QuoteLine.objects.filter(pk=pk, option__quote=quote).delete()


def drafted(quote: Quote) -> tuple[Job, Quote]:
    """The locked job and quote, which must be a draft."""
    job, quote = locked(quote)
    if not quote.is_draft:
        raise states.WrongStep(
            f"This quote is {quote.get_state_display()} and stays as it is: revise it"
            " to change anything."
        )
    return job, quote


@transaction.atomic
def send(quote: Quote, *, on: date, at: datetime, by, link: str = "") -> Quote:
    """Freeze the quote with its paper; from now on it holds for the shop's days.

    `link` is printed on it: where the customer can answer by themselves.
    """
    job, quote = locked(quote)
    states.check_step(quote.state, states.SENT)
    options = list(quote.options.prefetch_related("lines"))
    if not options:
        raise NotYet("Write at least one option first.")
    for option in options:
        if not option.lines.all():
            raise NotYet(f"“{option.title}” has no lines yet.")
        _check_price(option)
    shop = Shop.current()
    quote.sent_at = at
    quote.valid_until = on + timedelta(days=shop.quote_days)
    # The paper must not bear the mark of a draft any more.
    quote.state = states.SENT
    paper = quote_paper(quote, shop=shop, made_at=at, link=link)
    quote.state = states.DRAFT
    quote.step(
        states.SENT,
        sent_at=at,
        valid_until=quote.valid_until,
        paper=paper,
        paper_hash=sha256(paper).hexdigest(),
    )
    job.quote(by=by)
    return quote


def _check_price(option: Option) -> None:
    """Refuse a board without a price, and another price than suggested without why."""
    for line in option.lines.all():
        if option.is_board and line.kind == LineKind.PART and not line.price:
            raise NotYet(f"Write the price of “{line.text}” in “{option.title}”.")
    if option.above_suggested() and not option.why_changed.strip():
        raise NotYet(
            f"“{option.title}” does not ask what is suggested. Write why its price"
            " differs."
        )


def mail(quote: Quote, *, link: str, at: datetime, by) -> Letter:
    """Put the quote's paper in the post, with the way to answer it."""
    if not quote.is_sent:
        raise states.WrongStep(
            f"This quote is {quote.get_state_display()}: only one that was sent and not"
            " answered is mailed."
        )
    job, shop = quote.job, Shop.current()
    with in_paper_language(shop):
        subject = gettext("Quote for your {device} ({number})")
        text = gettext(
            "Enclosed is our quote for job {number}. It holds until {day}.\n\nYou can"
            " read and answer it here as well:\n{link}\n\n{shop}"
        ).format(
            number=job.number, day=day(quote.valid_until), link=link, shop=shop.name
        )
        name = file_name(quote)
    return post.write(
        job.customer.email,
        subject=subject.format(device=job.device.model, number=job.number),
        text=text,
        attachments=[(name, "application/pdf", bytes(quote.paper))],
        about=quote.get_absolute_url(),
        at=at,
        by=by,
    )


@transaction.atomic
def revise(quote: Quote, *, by, why: str = "") -> Quote:
    """A new version to change, copied from this one, which is replaced by it."""
    job, quote = locked(quote)
    if quote.is_draft:
        raise states.WrongStep("This quote is still a draft: change it as it is.")
    quote.step(states.REPLACED)
    if job.state != job_states.DIAGNOSED:
        job.revise(by=by, why=why or f"quote version {quote.version} is revised")
    new = next_version(quote, by=by)
    for option in quote.options.prefetch_related("lines"):
        copied(option, new)
    return new


def next_version(quote: Quote, *, by) -> Quote:
    """An empty draft behind all versions there are, in the words of `quote`."""
    return Quote.objects.create(
        job=quote.job,
        version=_next_version(quote.job),
        words=quote.words,
        prices_include_tax=quote.prices_include_tax,
        currency=quote.currency,
        made_by=by,
    )


def copied(option: Option, new: Quote) -> Option:
    """The option with its lines once more, in the draft `new`."""
    lines = list(option.lines.all())
    option.pk, option.quote = None, new
    option._state.adding = True
    option.save()
    for line in lines:
        line.pk, line.option = None, option
        line._state.adding = True
    QuoteLine.objects.bulk_create(lines)
    return option


def _open_to_answer(job: Job, quote: Quote, *, version: int) -> None:
    if quote.version != version or quote.state == states.REPLACED:
        raise states.WrongStep(
            "The quote was revised meanwhile: show the customer the new version."
        )
    if quote.state in (states.ACCEPTED, states.DECLINED):
        said = f"yes to “{quote.chosen}”" if quote.chosen else "no"
        raise states.WrongStep(
            f"{quote.answered_by} answered this quote already: {said}."
        )
    if quote.is_sent and job.state != job_states.QUOTED:
        raise states.WrongStep(
            "The job went back to the bench after this quote was sent: revise the quote"
            " and send it again."
        )


@transaction.atomic
def accept(
    quote: Quote,
    *,
    option: Option,
    version: int,
    who: str,
    how: str,
    on: date,
    at: datetime,
    by,
    ways: Ways = UNKNOWN,
    papers: Sequence[Paper] = (),
) -> Quote:
    """The customer says yes to `option` of the version they were shown.

    The same yes twice is one yes. It is told by mail, with `papers` besides the quote.
    """
    job, quote = locked(quote)
    if quote.state == states.ACCEPTED and quote.chosen_id == option.pk:
        return quote
    _open_to_answer(job, quote, version=version)
    if option.quote_id != quote.pk:
        raise states.WrongStep("That option is not one of this quote.")
    if quote.is_expired(on):
        raise states.WrongStep(
            f"This quote held until {day(quote.valid_until)}. Revise it, and send"
            " it again with prices that hold now."
        )
    quote.step(
        states.ACCEPTED,
        chosen=option,
        answered_at=at,
        answered_how=how,
        answered_by=who,
    )
    why = f"quote version {quote.version}: {option.title}"[:500]
    if option.is_return:
        job.decline(by=by, why=why)
    else:
        _tell_the_bench(option)
        _lay_by(option, on=on)
        job.approve(by=by, why=why)
    tell_of_answer(quote, ways=ways, at=at, by=by, papers=papers)
    return quote


def _tell_the_bench(option: Option) -> None:
    """Each repair learns the fix and the cover that the customer said yes to."""
    pairs = {option.repair_id: option.fix} if option.repair_id and option.fix else {}
    for line in option.lines.select_related("fix"):
        if line.repair_id and line.fix:
            pairs[line.repair_id] = line.fix
    for repair, fix in pairs.items():
        kind = option.declared if len(pairs) == 1 else fix.declared
        Repair.objects.filter(pk=repair, job=option.quote.job_id).update(
            fix=fix, declared=kind or fix.declared, cover_days=option.cover_days
        )


def _lay_by(option: Option, *, on: date) -> None:
    """Each repair learns what the accepted price bears for its comebacks."""
    if option.reserve is None:
        return
    shop = Shop.current()
    chosen = [(repair, fix) for repair, fix in chosen_in(option) if fix]
    weights = [Decimal(1)]
    if len(chosen) > 1:
        by = Bearing(shop.cost_rate, Decimal(0), Decimal(0))
        mended = mended_by(chosen, cover_days=option.cover_days, on=on, shop=shop)
        weights = [reserve_of(one, by=by) for one in mended]
    places = option.quote.written_in(shop).places
    shares = shared(option.reserve, by=weights[: len(chosen)], places=places)
    for (repair, _), share in zip(chosen, shares, strict=True):
        Repair.objects.filter(pk=repair.pk, job=option.quote.job_id).update(
            reserve=max(share, Decimal(0))
        )


@transaction.atomic
def decline(
    quote: Quote,
    *,
    version: int,
    why: str,
    who: str,
    how: str,
    at: datetime,
    by,
    ways: Ways = UNKNOWN,
) -> Quote:
    """The customer says no; this may be said after the last day, too."""
    job, quote = locked(quote)
    if quote.state == states.DECLINED:
        return quote
    _open_to_answer(job, quote, version=version)
    quote.step(
        states.DECLINED,
        answered_at=at,
        answered_how=how,
        answered_by=who,
        answer_why=why,
    )
    job.decline(by=by, why=why)
    tell_of_answer(quote, ways=ways, at=at, by=by)
    return quote
