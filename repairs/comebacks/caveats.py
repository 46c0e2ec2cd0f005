"""The limits of the report, shown wherever its figures are."""

from datetime import date

from repairs.comebacks.comeback_table import ComebackTable
from repairs.comebacks.estimate.prior import MIN_PAIRS
from shopdesk.look.formats import format_share


def caveats(table: ComebackTable, *, as_of: date) -> list[str]:
    """Return the sentences under the table."""
    return [
        *_of_this_table(table),
        "Ranges are approximate. They contain the true risk in about 90 % of cases,"
        " less often for a stopgap with few repairs.",
        "Comebacks repaired elsewhere are not recorded, so the true risk is higher.",
        "Whether a return is the same fault is a judgement and may be wrong."
        f" Assessments count as of {as_of.day} {as_of:%b %Y}.",
        "“Not enough repairs” is not a good result: the risk is open, whatever the"
        " shop’s other fixes suggest.",
    ]


def _of_this_table(table: ComebackTable) -> list[str]:
    if table.frame.empty:
        return []
    sentences = [_basis(table)]
    longest = table.counts.longest_follow_up
    if longest < table.within:
        sentences.append(
            f"The longest follow-up so far is {longest} of {table.within} days. Later"
            " comebacks are still unknown."
        )
    return sentences


def _basis(table: ComebackTable) -> str:
    parameters = table.rates.parameters
    if parameters is None:
        return "No comebacks recorded yet. Risks are based on a default assumption."
    lasting = format_share(parameters.reliable_share(is_stopgap=False))
    stopgap = format_share(parameters.reliable_share(is_stopgap=True))
    prior = table.rates.prior
    weight, (first, second) = format_share(prior.weights[0]), prior.means
    data = min(len(table.frame), int(table.counts.comebacks.sum()))
    few = " With so few data this is mainly an assumption."
    return (
        f"The fixes of this shop form two groups: {weight} have {first:.2g} times the"
        f" average comeback rate, the others {second:.2g} times."
        f" Prior probability of the better group: {lasting} for lasting fixes,"
        f" {stopgap} for stopgaps, from this shop’s data. Other fixes of the fault and"
        " the same fix on other faults also count, less so the more repairs a pair has"
        f" (partial pooling).{few if data < MIN_PAIRS else ''}"
    )
