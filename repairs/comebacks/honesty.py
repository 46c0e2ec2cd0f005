"""What the table can't know, said wherever it is shown."""

from datetime import date

from repairs.comebacks import prior
from repairs.comebacks.beliefs import Figures
from repairs.comebacks.pairs import ComebackTable
from repairs.comebacks.rows import share


def said_with(table: ComebackTable, *, as_of: date) -> list[str]:
    """The sentences that stand under the table, on screen and on paper."""
    return [
        *_of_this_table(table),
        (
            "The limits are approximate: they are meant to hold the true risk nine"
            " times in ten, and do so less often for a stopgap done only a few times."
        ),
        (
            "A comeback that went to another shop is not seen here. The true risk is"
            " higher by as much."
        ),
        (
            "Whether a return is the same fault is somebody’s decision and may be"
            f" wrong. Each is counted as it was decided by {as_of.day} {as_of:%b %Y}."
        ),
        (
            "“Too few to tell” is not good news: these repairs alone leave the risk"
            " open, whatever the shop’s other fixes suggest."
        ),
    ]


def _of_this_table(table: ComebackTable) -> list[str]:
    said = []
    if len(table.rows):
        said.append(_basis(table))
    if len(table.rows) and table.longest_watch < table.within:
        said.append(
            f"No repair has been watched for longer than {table.longest_watch} of the"
            f" {table.within} days yet: comebacks after that are still to be seen."
        )
    return said


def _basis(table: ComebackTable) -> str:
    """What each pair's own figures are drawn towards."""
    if table.figures is not None:
        return _by_declared_and_fault(table, table.figures)
    if table.prior.basis == prior.NO_RETURNS:
        return (
            "No comeback has been seen yet. The risks start from a guess and say only"
            " what so few repairs can rule out."
        )
    if table.prior.basis == prior.FITTED_TWO:
        return (
            f"{_two_groups(table)} Each fix is drawn towards the group that its own"
            " repairs speak for."
        )
    few = table.prior.basis == prior.TOO_SMALL_FOR_TWO
    why = " (there are too few pairs or comebacks to look for two)" if few else ""
    return (
        f"The fixes of this shop are taken as one group{why}. Each fix is drawn towards"
        " the average, the more so the fewer its own repairs."
    )


def _by_declared_and_fault(table: ComebackTable, figures: Figures) -> str:
    lasting = share(figures.share_that_holds(is_stopgap=False))
    stopgap = share(figures.share_that_holds(is_stopgap=True))
    few = min(len(table.rows), int(table.counts.returned.sum())) < prior.LEAST_PAIRS
    why = " With so few pairs or comebacks this is still mostly a guess." if few else ""
    return (
        f"{_two_groups(table)} Before its own repairs are counted, a fix declared"
        f" lasting is taken to be of the first with {lasting}, a declared stopgap with"
        f" {stopgap}: as the bench’s word has proved here. How the other fixes of the"
        " same fault do, and the same fix on other faults, counts as well, and the more"
        f" a fix was done, the less of all this.{why}"
    )


def _two_groups(table: ComebackTable) -> str:
    weight, means = share(table.prior.weights[0]), table.prior.means
    return (
        f"The fixes of this shop fall into two groups: {weight} of them come back"
        f" {means[0]:.2g} times as often as the average, the others {means[1]:.2g}"
        " times."
    )
