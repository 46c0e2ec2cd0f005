"""All that is known of a month: the same for the page and for paper."""

from dataclasses import dataclass
from datetime import date

from repairs.comebacks.advice import Advice
from repairs.comebacks.month.bars import Bars
from repairs.comebacks.month.coming import Coming
from repairs.comebacks.month.drawing import Chart
from repairs.comebacks.month.laid_by import LaidBy, together
from repairs.comebacks.month.money import Money
from repairs.comebacks.month.months import MonthRow, Months
from repairs.comebacks.month.named import Named
from repairs.comebacks.month.triangle import Triangle


@dataclass(frozen=True)
class Told:
    """What changed, with the address of its evidence."""

    about: str
    sentence: str
    word: str
    evidence: str


@dataclass(frozen=True)
class Blamed:
    """What returns too often, with the address of the repairs behind it."""

    one: Named
    evidence: str


@dataclass(frozen=True)
class MonthReport:
    as_of: date
    before: date
    """The last day of the month before, which it is set against."""
    within: int
    questions: str
    """What an address asks to show the same day."""
    advice: list[Advice]
    """What to change, by all repairs up to the day."""
    changes: list[Told]
    of_months: Months
    chart: Chart
    triangle: Triangle
    coming: Coming
    foretold: Coming
    """What was to be expected on the day `before` for the days since."""
    came: int
    """What came of it, as decided by now."""
    money: Money
    money_before: Money
    laid_by: list[LaidBy]
    """What the prices of the repairs of each of these months bore for comebacks."""
    bars: Bars
    bad: list[Blamed]

    @property
    def this_laid_by(self) -> LaidBy:
        """Of the month in which the day lies."""
        return self.laid_by[-1]

    @property
    def laid_by_together(self) -> LaidBy:
        """Of all months that are drawn."""
        return together([bar.row for bar in self.bars.bars] or self.laid_by)

    @property
    def months(self) -> list[MonthRow]:
        return self.of_months.rows
