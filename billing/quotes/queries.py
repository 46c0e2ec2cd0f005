"""What the pages of a quote show besides its own fields."""

from collections import Counter
from hashlib import sha256
from math import ceil

from billing.pricing.option_price import FixOfRepair
from billing.quotes.models import Quote, QuoteOption
from repairs.stock.models import Part


def fixes_in(option: QuoteOption) -> list[FixOfRepair]:
    """Return the repairs that an option covers, each with its fix."""
    lines = option.lines.select_related("repair__fault", "fix")
    found = {line.repair_id: (line.repair, line.fix) for line in lines if line.repair}
    if not found and option.repair:
        return [(option.repair, option.fix)]
    return list(found.values())


def parts_in(option: QuoteOption) -> dict[Part, int]:
    """Return the parts that the lines of an option name; half a part is a whole one."""
    needed: Counter[Part] = Counter()
    for line in option.lines.select_related("part"):
        if line.part:
            needed[line.part] += line.quantity
    return {part: ceil(quantity) for part, quantity in needed.items()}


def draft_fingerprint(quote: Quote) -> str:
    """Return a short hash of the whole draft, which any change alters."""
    options = quote.options.order_by("position").values_list(
        *("pk", "title", "description", "fix_type", "warranty_days", "turnaround_days"),
        *("work_kind", "track_record", "price_reason"),
    )
    lines = quote.options.order_by("lines__id").values_list(
        *("lines__id", "lines__kind", "lines__text", "lines__quantity"),
        *("lines__price", "lines__tax_kind"),
    )
    content = (quote.findings, list(options), list(lines))
    return sha256(repr(content).encode()).hexdigest()[:20]
