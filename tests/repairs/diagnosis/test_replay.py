"""The replay of the past: in order, nothing from the future, and every job counts."""

import json
from datetime import date, timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from repairs.diagnosis.evidence import Place
from repairs.diagnosis.replaying import PastCase, replay
from tests.repairs.history import files

DAY = date(2026, 3, 2)
LAPTOP = Place("laptop", 7)


def case(came, closed, fault, features=(), place=LAPTOP):
    days = [DAY + timedelta(days=n) for n in (came, closed)]
    return PastCase(*days, place, features, frozenset([fault]))


def test_a_job_is_predicted_from_what_was_closed_before_its_day():
    first = case(0, 5, 1)
    assert replay([first, case(5, 6, 1)])["ours"]["1"] == 0
    found = replay([first, case(6, 9, 1)])
    assert found["jobs"] == 2
    assert found["ours"] == found["baseline"] == {"1": 0.5, "3": 0.5, "5": 0.5}
    assert found["naive_bayes"] == found["ours"]
    later = replay([first, case(6, 9, 1)], start=DAY + timedelta(days=1))
    assert (later["jobs"], later["ours"]["1"]) == (1, 1.0)


def test_a_symptom_beats_the_most_frequent_fault():
    past = [case(n, n, 1, ["s1"]) for n in range(8)]
    past += [case(n, n, 2, ["s2"]) for n in range(6)]
    found = replay([*past, case(20, 21, 2, ["s2"])], start=DAY + timedelta(days=20))
    assert (found["ours"]["1"], found["baseline"]["1"]) == (1, 0)
    assert found["naive_bayes"]["1"] == 1 and found["baseline"]["3"] == 1


def test_the_baseline_asks_model_then_kind_then_shop():
    past = [case(0, 0, 1)]
    past += [case(0, 0, 2, place=Place("laptop", 8)) for _ in range(2)]
    past += [case(0, 0, 3, place=Place("phone", 9)) for _ in range(3)]
    for model, fault in ((7, 1), (8, 2), (99, 2)):
        asked = case(5, 5, fault, place=Place("laptop", model))
        found = replay([*past, asked], start=DAY + timedelta(days=5))
        assert found["baseline"]["1"] == 1
    asked = case(5, 5, 3, place=Place("amplifier", 4))
    assert replay([*past, asked], start=DAY + timedelta(days=5))["baseline"]["1"] == 1


@pytest.mark.django_db
def test_the_command_replays_an_imported_past(tmp_path):
    rows = [
        files.row(
            job=f"J-{n}",
            booked_in=f"2025-03-{n + 1:02d}",
            handed_back=f"2025-03-{n + 1:02d}",
            serial=f"SN-{n}",
        )
        for n in range(9)
    ]
    files.import_file(files.write(tmp_path, *rows))
    out = StringIO()
    call_command("replay", "--format", "json", stdout=out)
    found = json.loads(out.getvalue())
    assert found["jobs"] == 9
    assert found["ours"] == found["baseline"] == dict.fromkeys("135", 8 / 9)
    out = StringIO()
    call_command("replay", "--from", "2025-03-09", stdout=out)
    assert "1 jobs replayed" in out.getvalue() and "100.0%" in out.getvalue()
    with pytest.raises(CommandError, match="Use 2025-06-30"):
        call_command("replay", "--from", "yesterday")


@pytest.mark.django_db
def test_an_empty_shop_has_nothing_to_replay():
    out = StringIO()
    call_command("replay", "--format", "json", stdout=out)
    assert json.loads(out.getvalue())["jobs"] == 0
