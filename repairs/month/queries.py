"""The repairs of a report, read once for all its dates."""

from datetime import date

import numpy as np
import pandas as pd
from django.db.models import Q

from repairs.comebacks.comeback_table import ComebackTable
from repairs.comebacks.estimate.kaplan_meier import cumulative_hazard
from repairs.comebacks.queries import (
    ALL,
    PAIR,
    DayNumber,
    comebacks_by,
    fixed_by,
    read,
)
from repairs.comebacks.record import ComebackReport
from repairs.comebacks.watch import NOT_OBSERVED, Floats
from repairs.month.frame import Observations


def read_repairs(as_of: date, *, only: Q = ALL) -> pd.DataFrame:
    """Return the repairs that count by that day, ordered by their ids."""
    # Not sorted by the database: a million rows are mostly in order already.
    rows = fixed_by(as_of, only=only).order_by()
    frame = read(
        rows.values_list(
            "id",
            *PAIR,
            "job__device_id",
            "job__device__model_id",
            DayNumber("handed_over_on"),
            DayNumber("job__device__out_of_use_on"),
        ),
        ["repair", *PAIR, "device", "model", "handed_over", "out_of_use"],
    )
    return frame.sort_values("repair", kind="stable", ignore_index=True)


def observe(
    repairs: pd.DataFrame, report: ComebackReport, *, only: Q = ALL
) -> Observations:
    """Return the observations of a report's date; `repairs` may include later ones."""
    as_of = report.scope.as_of
    repairs = repairs[repairs["handed_over"] <= as_of.toordinal()]
    numbers = report.table.frame[[*PAIR, "number"]]
    repairs = repairs.merge(numbers, on=[*PAIR], how="left")
    back = comebacks_by(as_of, only=only)
    days = back.values_list("earlier_id", DayNumber("came_back_on"))
    first = read(days, ["repair", "day"]).groupby("repair")["day"].min()
    came_back = repairs["repair"].map(first).fillna(NOT_OBSERVED).astype("int64")
    unfiltered = report.unfiltered or report.table
    return Observations.of(
        repairs.rename(columns={"number": "pair"}).assign(came_back=came_back),
        as_of=as_of,
        within=report.scope.within,
        hazard=_hazard(unfiltered),
        posterior=report.table.rates.posterior,
    )


def _hazard(table: ComebackTable) -> Floats:
    if table.has_no_comebacks:
        # Without any comeback no day is more likely than another.
        return table.rates.shop_hazard * np.linspace(0.0, 1.0, table.within + 1)
    return cumulative_hazard(table.counts)
