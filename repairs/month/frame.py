"""The repairs handed over by a day, one row each: the data of all parts of the report.

Days are ordinals and months are counted from the year 1, so that a million rows hold
numbers only.
"""

from dataclasses import dataclass
from datetime import date
from functools import cached_property

import numpy as np
import pandas as pd

from repairs.comebacks.estimate.posterior import Posterior
from repairs.comebacks.watch import Floats, Ints, follow_up

EPOCH = date(1970, 1, 1)  # numpy counts days and months from here


@dataclass(frozen=True)
class Observations:
    """The repairs as of a day, with the shop's hazard and each pair's posterior.

    Columns of `repairs`: repair, pair (its number in the comeback table), device,
    model, handed_over, out_of_use, came_back (first), and derived ones: days (followed
    up), is_event, is_open (still in follow-up) and month (of handover).
    """

    as_of: date
    within: int
    repairs: pd.DataFrame
    hazard: Floats
    """The shop's cumulative hazard on each day 0…H."""
    posterior: Posterior

    @classmethod
    def of(
        cls,
        repairs: pd.DataFrame,
        *,
        as_of: date,
        within: int,
        hazard: Floats,
        posterior: Posterior,
    ) -> "Observations":
        today = as_of.toordinal()
        handed_over = repairs["handed_over"].to_numpy()
        out_of_use = repairs["out_of_use"].to_numpy()
        days, is_event = follow_up(
            handed_over,
            came_back=repairs["came_back"].to_numpy(),
            out_of_use=out_of_use,
            as_of=today,
            within=within,
        )
        observed = repairs.assign(
            days=days,
            is_event=is_event,
            is_open=(is_event == 0)
            & (out_of_use > today)
            & (handed_over + within > today),
            month=month_numbers(handed_over),
        )
        return cls(as_of, within, observed, hazard, posterior)

    def hazard_ahead(self, *, days: int) -> Floats:
        """Return the hazard that each open repair still faces; 0 for the others.

        Its follow-up ends with the period.
        """
        past = self.repairs["days"].to_numpy()
        ahead = self.hazard[np.minimum(past + days, self.within)] - self.hazard[past]
        return np.where(self.repairs["is_open"], ahead, 0.0)

    def risk_ahead(self, *, days: int) -> Floats:
        """Return each repair's probability of coming back in the next days."""
        pair = self.repairs["pair"].to_numpy()
        return comeback_risk(self.posterior, pair, self.hazard_ahead(days=days))

    @cached_property
    def risk(self) -> Floats:
        """Return each repair's probability of coming back before its follow-up ends."""
        return self.risk_ahead(days=self.within)


def comeback_risk(posterior: Posterior, pair: Ints, hazard: Floats) -> Floats:
    """Return each repair's probability of coming back under this hazard."""
    risk = np.zeros(len(hazard))
    rows = np.flatnonzero(hazard)
    of_pair = posterior.select(pair[rows])
    survival = (of_pair.rates / (of_pair.rates + hazard[rows, None])) ** of_pair.shapes
    risk[rows] = 1.0 - (of_pair.weights * survival).sum(axis=1)
    return risk


# --- months -----------------------------------------------------------------------


def month_number(day: date) -> int:
    return (day.year - 1) * 12 + day.month - 1


def month_numbers(days: Ints) -> Ints:
    """Return the months of ordinals."""
    months = (days - EPOCH.toordinal()).astype("datetime64[D]").astype("datetime64[M]")
    return months.astype(np.int64) + month_number(EPOCH)


def first_day(month: int) -> date:
    """Return the first day of a month by its number."""
    return date(month // 12 + 1, month % 12 + 1, 1)
