from types import SimpleNamespace

import pytest

from repairs.faults.cautions import (
    BATTERY,
    CAUTION,
    HEAT,
    LIQUID,
    MAINS,
    MOISTURE,
    OF_DEVICE,
    OF_HAZARD,
    STATIC,
    SWOLLEN_BATTERY,
    WARNING,
    cautions,
)
from repairs.faults.models import Hazard
from repairs.jobs.models import Job


def device(**ticks):
    return SimpleNamespace(**dict.fromkeys(OF_DEVICE, False) | ticks)


def test_a_job_without_a_hazard_has_no_caution():
    assert cautions() == cautions(job=device(), hazards={""}) == []


def test_each_caution_is_shown_once_and_the_most_serious_first():
    job = device(**dict.fromkeys(OF_DEVICE, True))
    shown = cautions(job=job, hazards={"heat", "mains", "battery"})
    assert shown == [SWOLLEN_BATTERY, MAINS, LIQUID, BATTERY, HEAT, MOISTURE]
    assert [one.level for one in shown] == [WARNING, WARNING] + [CAUTION] * 4
    assert cautions(at_the_board=True) == [STATIC]


@pytest.mark.parametrize("field", OF_DEVICE)
def test_each_tick_shows_its_own_caution(field):
    assert cautions(job=device(**{field: True})) == [OF_DEVICE[field]]
    assert Job._meta.get_field(field)


def test_every_hazard_of_the_fault_book_has_a_caution():
    assert set(OF_HAZARD) == set(Hazard.values) - {""}
