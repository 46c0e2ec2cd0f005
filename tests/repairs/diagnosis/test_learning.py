"""What is learnt when a job is closed, forgotten when it is reopened, and counted."""

from datetime import timedelta
from io import StringIO

import pytest
from django.core import checks
from django.core.management import call_command

from billing.personal_data.erasing import erase_customer
from repairs.diagnosis import learning
from repairs.diagnosis.evidence import Place
from repairs.diagnosis.learning import word_hash, word_hashes
from repairs.diagnosis.models import LearntCase, LearntCount
from repairs.faults.models import Check, Symptom
from repairs.jobs import states, workflow
from repairs.jobs.models import CheckResult, Job
from tests import make
from tests.repairs.history import files

pytestmark = pytest.mark.django_db


def ready_to_close(*codes, complaint="Flickers", outcome=states.FIXED, of=None):
    """A job that is ready to be closed, with a repair for each code."""
    job = make.job(of, complaint=complaint, state=states.TESTED)
    for code in codes:
        fault = make.fault(code)
        fix = make.fix(fault)
        made = make.repair(job, fault, fix=fix, fix_type=fix.fix_type, outcome=outcome)
        made.no_part_needed = True
        made.save()
        made.final_tests.create(tries=9, needed=1, run_at=make.stamp(make.DAY).at)
    return job


def close(job, outcome=states.FIXED, why="as found"):
    workflow.close(job, outcome=outcome, stamp=make.stamp(make.DAY), why=why)
    job.refresh_from_db()
    return job


def counts():
    return {
        (row.level, row.feature): row.faults
        for row in LearntCount.objects.order_by("pk")
    }


def test_closing_a_job_counts_it_at_each_level_and_reopening_undoes_that():
    device = make.device(board_revision="B")
    symptom = Symptom.objects.create(name="hums")
    check = Check.objects.create(name="Plug", results="holds;drops out")
    before = close(ready_to_close("F-0", of=device))
    assert before.learnt.get().closed_on == make.DAY
    counted = counts()
    job = ready_to_close("F-1", "F-2", of=device)
    job.symptoms.add(symptom)
    found = {"check_made": check, "result": "Holds", "made_at": make.stamp().at}
    CheckResult.objects.create(job=job, **found)
    close(job)
    model, f = device.model_id, [str(case.fault_id) for case in job.learnt.all()]
    both = {f[0]: 1, f[1]: 1}
    now = counts()
    for level in ("", "klaptop", f"m{model}"):
        assert now[level, f"s{symptom.pk}"] == both
        assert now[level, f"c{check.pk}=holds"] == both
        assert now[level, ""].items() >= both.items()
    assert now[f"b{model}:b", ""].items() >= both.items()
    assert (f"b{model}:b", f"s{symptom.pk}") not in now
    (word,) = (f"w{one}" for one in word_hashes("Flickers"))
    assert now["", word].items() >= both.items() and (f"m{model}", word) not in now
    # What is corrected later does not change what is undone.
    Job.objects.filter(pk=job.pk).update(complaint="Something else")
    job.symptoms.clear()
    workflow.reopen(job, stamp=make.stamp(make.DAY), why="not yet right")
    assert counts() == counted
    assert not LearntCase.objects.filter(job=job).exists()
    assert learning.first_difference() == ""


@pytest.mark.parametrize(
    ("outcome", "is_learnt"),
    [
        (states.NOT_REPAIRABLE, True),
        (states.NOT_FIXED, False),
        (states.NO_FAULT_FOUND, False),
    ],
)
def test_the_fault_of_what_could_not_be_repaired_is_known(outcome, is_learnt):
    job = close(ready_to_close("F-1", outcome=outcome), outcome=outcome)
    assert job.learnt.exists() == is_learnt
    assert learning.first_difference() == ""


def test_words_are_stored_as_hashes_with_a_secret_only(settings):
    job = close(ready_to_close("F-1", complaint="Zanzibar flickering"))
    stored = "".join(case.features for case in LearntCase.objects.all())
    assert "zanzibar" not in stored.casefold() and stored.startswith("w")
    hashed = word_hashes("zanzibar")
    word_hash.cache_clear()
    settings.SECRET_KEY = "another secret of this test, long enough"
    assert word_hashes("zanzibar") != hashed
    word_hash.cache_clear()
    make.hand_over(job, on=make.DAY + timedelta(days=1))
    erase_customer(job.customer, stamp=make.stamp())
    learning.rebuild()
    case = LearntCase.objects.get()
    assert case.features == stored and learning.first_difference() == ""


def test_an_import_teaches_and_so_does_the_command(tmp_path):
    files.import_file(files.write(tmp_path, files.row(), files.back()))
    assert LearntCase.objects.count() == 2
    counted = counts()
    assert learning.first_difference() == ""
    LearntCase.objects.all().delete()
    LearntCount.objects.all().delete()
    assert "was not learnt from" in learning.first_difference()
    out = StringIO()
    call_command("learn", stdout=out)
    assert out.getvalue() == "2 cases learnt.\n" and counts() == counted
    call_command("learn", "--rebuild", verbosity=0)
    assert counts() == counted
    call_command("learn", verbosity=0)
    assert counts() == counted


def test_many_rows_are_written_anew_with_the_same_counts(monkeypatch, tmp_path):
    files.import_file(files.write(tmp_path, files.row()))
    monkeypatch.setattr(learning, "MANY_ROWS", 0)
    call_command("learn", "--rebuild", verbosity=0)
    files.import_file(files.write(tmp_path, files.back()))
    assert learning.first_difference() == ""
    assert sum(counts()["", ""].values()) == 2


@pytest.mark.parametrize("damage", ["count", "row", "case", "stray"])
def test_the_check_of_the_database_names_a_wrong_count(damage):
    job = close(ready_to_close("F-1"))
    row = LearntCount.objects.get(level="", feature="")
    if damage == "count":
        row.faults = {fault: n + 1 for fault, n in row.faults.items()}
        row.save()
    elif damage == "row":
        row.delete()
    elif damage == "case":
        LearntCase.objects.all().delete()
    else:
        job.repairs.update(outcome=states.NOT_FIXED)
    found = checks.run_checks(tags=[checks.Tags.database], databases=["default"])
    assert "repairs.E002" in [message.id for message in found]
    call_command("learn", "--rebuild", verbosity=0)
    assert learning.first_difference() == ""


def test_a_family_is_the_models_of_one_kind_that_share_it():
    slate = make.device_model(model="Slate 14", family="Slate")
    other = make.device_model(model="Slate 15", family="Slate")
    make.device_model(kind="tablet", model="Slate Mini", family="Slate")
    assert learning.models_of(slate) == (slate.pk, other.pk)
    assert learning.models_of(make.device_model(model="Tern")) == ()
    steps = Place("laptop", 7, family=(7, 8)).steps
    assert steps == [("",), ("klaptop",), ("m7", "m8"), ("m7",)]
