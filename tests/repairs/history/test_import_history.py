from datetime import date, timedelta
from decimal import Decimal

import pytest

from repairs.customers.models import Customer, Device
from repairs.faults.models import Fault, Fix
from repairs.jobs import states
from repairs.jobs.models import Job, Repair, ReturnAssessment
from repairs.stock.models import Delivery, Part, StockMovement
from shopdesk.shop.models import Series
from tests import make
from tests.repairs.history import files

pytestmark = pytest.mark.django_db


# --- what is stored -------------------------------------------------------------


def test_one_row_becomes_a_job_with_its_repair_and_its_parts(tmp_path):
    output = files.import_file(files.write(tmp_path, files.row()))
    job = Job.objects.get(number="25-00007")
    repair = job.repairs.get()
    assert (job.state, job.outcome, job.is_from_history) == (
        "handed_over",
        "fixed",
        True,
    )
    assert job.device.owner == job.customer
    assert job.customer.phone == "+441632960123"
    assert job.transitions.get().to_state == "handed_over"
    assert repair.charged == Decimal("89.50")
    assert repair.minutes == 45
    assert repair.cost == Decimal("25.50") + 5  # 45 minutes at 34 an hour, and parts
    assert repair.warranty_until == date(2025, 3, 10) + timedelta(days=180)
    assert list(repair.fix.faults.all()) == [repair.fault]
    used = repair.parts_used.get()
    assert (used.part.number, used.quantity, used.cost) == ("P-100", 2, Decimal("2.5"))
    assert used.delivery.lot == "L7"
    assert "1 job," in output and "1 repair," in output


def test_customers_and_parts_can_be_found_by_the_search_box(tmp_path):
    files.import_file(files.write(tmp_path, files.row(customer="Zoë Müller")))
    assert Customer.objects.containing("zoe muller").count() == 1
    assert Part.objects.containing("p-100").count() == 1


@pytest.mark.parametrize(
    ("cells", "state", "outcome"),
    [
        ({}, "handed_over", "fixed"),
        ({"handed_back": ""}, "ready", "fixed"),
        ({"handed_back": "", "outcome": ""}, "diagnosed", ""),
        ({"outcome": "not repairable"}, "handed_over", "not_repairable"),
        (
            {"outcome": "", "fix": "", "fix_name": "", "declared": ""},
            "handed_over",
            "declined",
        ),
    ],
)
def test_the_status_follows_from_the_row(tmp_path, cells, state, outcome):
    files.import_file(files.write(tmp_path, files.row(**cells)))
    job = Job.objects.get()
    assert (job.state, job.outcome) == (state, outcome)


def test_a_job_without_a_fault_is_only_booked_in(tmp_path):
    files.import_file(files.write(tmp_path, files.bare()))
    assert Job.objects.get().state == states.BOOKED_IN
    assert not Repair.objects.exists()


def test_no_fault_found_needs_no_fault_and_keeps_minutes_and_fee(tmp_path):
    row = files.bare(
        handed_back="2025-03-04",
        outcome="no fault found",
        minutes="20",
        charged="25.00",
    )
    files.import_file(files.write(tmp_path, row))
    job = Job.objects.get()
    assert (job.outcome, job.agreed_diagnosis_fee) == (states.NO_FAULT_FOUND, 25)
    assert job.labour.get().minutes == 20


def test_what_was_paid_for_was_not_declined_but_is_coded_later(tmp_path):
    row = files.bare(handed_back="2025-03-04", minutes="20", charged="25.00")
    path = files.write(tmp_path, row)
    files.import_file(path)
    job = Job.objects.get()
    uncoded = job.uncoded_repairs.get()
    assert (job.outcome, job.agreed_diagnosis_fee) == (states.NOT_CODED, None)
    assert (uncoded.minutes, uncoded.charged) == (20, 25)
    assert "1 job existed already" in files.import_file(path)


def test_two_rows_of_one_job_are_two_repairs(tmp_path):
    second = files.row(fault="AUD-JACK", fault_name="Audio jack worn", parts="")
    files.import_file(files.write(tmp_path, files.row(), second))
    assert Job.objects.get().repairs.count() == 2


def test_a_byte_order_mark_and_mixed_newlines_change_nothing(tmp_path):
    header, _, rest = files.text(files.bare(), files.bare(job="8")).partition("\r\n")
    first, second = rest.split("\r\n")[:2]
    path = tmp_path / "past.csv"
    path.write_bytes(f"\ufeff{header}\n{first}\r{second}\r\n,,\n".encode()[:-3])
    files.import_file(path)
    assert Job.objects.count() == 2


def test_columns_may_be_in_any_order_or_left_out(tmp_path):
    needed = ["model", "kind", "customer", "booked_in", "job"]
    files.import_file(files.write(tmp_path, files.row(), columns=needed))
    assert Job.objects.get().device.model.model == "Slate 14"


def test_a_formula_is_text(tmp_path):
    files.import_file(files.write(tmp_path, files.row(customer='=HYPERLINK("x")')))
    assert Job.objects.get().customer.name == '=HYPERLINK("x")'


# --- customers and devices ------------------------------------------------------


def test_two_customers_with_one_phone_stay_two(tmp_path):
    other = files.row(job="8", customer="Ben Fenwick", email="", serial="X9")
    files.import_file(files.write(tmp_path, files.row(email=""), other))
    assert Customer.objects.filter(phone="+441632960123").count() == 2


def test_one_email_is_one_customer_and_the_other_spelling_is_noted(tmp_path):
    other = files.row(job="8", customer="A. Fenwick", email="Ada@example.org")
    output = files.import_file(files.write(tmp_path, files.row(), other))
    assert Customer.objects.count() == 1
    note = Job.objects.get(number="8").imported_text
    assert note == "customer: A. Fenwick\nemail: Ada@example.org"
    assert "line 4, customer: A. Fenwick" in output


def test_a_customer_on_record_is_matched_and_gets_the_phone(tmp_path):
    known = make.customer("Ada Fenwick", email="ada@example.org")
    files.import_file(files.write(tmp_path, files.row()))
    known.refresh_from_db()
    assert Job.objects.get().customer == known
    assert known.phone == "+441632960123" and "441632960123" in known.search


def test_one_serial_of_a_maker_is_one_device_however_it_is_written(tmp_path):
    other = files.row(job="8", serial="nw 00123", booked_in="2025-03-09")
    files.import_file(files.write(tmp_path, files.row(), other))
    assert Device.objects.get().jobs.count() == 2
    assert Job.objects.get(number="8").imported_text == "serial: nw 00123"


def test_a_placeholder_serial_does_not_merge_devices(tmp_path):
    a = files.row(serial="N/A")
    b = files.row(
        job="8", serial="n/a", email="ben@example.org", customer="Ben", phone=""
    )
    files.import_file(files.write(tmp_path, a, b))
    assert Device.objects.count() == 2
    assert set(Device.objects.values_list("serial", flat=True)) == {""}
    assert Job.objects.get(number="8").imported_text == "serial: n/a"


def test_without_a_serial_a_customer_has_one_device_of_a_model(tmp_path):
    rows = [files.row(job=str(n), serial="") for n in range(3)]
    rows.append(files.row(job="other", serial="", model="Slate 15"))
    files.import_file(files.write(tmp_path, *rows))
    assert Device.objects.count() == 2


def test_a_return_without_a_serial_is_the_device_it_came_back_from(tmp_path):
    files.import_file(files.write(tmp_path, files.back(serial=""), files.row()))
    assert Device.objects.get().jobs.count() == 2


def test_a_serial_given_only_at_the_return_is_stored_on_the_device(tmp_path):
    files.import_file(files.write(tmp_path, files.row(serial=""), files.back()))
    assert Device.objects.get().serial == "NW-00123"


# --- returns --------------------------------------------------------------------


def test_a_return_is_linked_to_the_repair_of_its_fault(tmp_path):
    other = files.row(fault="AUD-JACK", fault_name="Audio jack worn")
    files.import_file(files.write(tmp_path, files.back(), other, files.row()))
    decision = ReturnAssessment.objects.get()
    assert decision.job.number == "25-00019"
    assert decision.earlier.fault.code == "PWR-JACK-OPEN"
    assert (decision.assessment, decision.is_in_warranty) == (states.SAME_FAULT, True)
    assert decision.assessed_on == date(2025, 3, 30)


def test_a_warranty_repair_continues_the_old_warranty(tmp_path):
    files.import_file(files.write(tmp_path, files.row(), files.back()))
    first, rework = Repair.objects.order_by("job__booked_in_on")
    assert rework.warranty_until == first.warranty_until == date(2025, 9, 6)


def test_a_return_may_be_not_assessed_yet(tmp_path):
    files.import_file(files.write(tmp_path, files.row(), files.back(return_is="")))
    assert ReturnAssessment.objects.get().assessment == states.UNDECIDED


def test_a_return_may_be_of_a_job_imported_before(tmp_path):
    files.import_file(files.write(tmp_path, files.row()))
    files.import_file(files.write(tmp_path, files.back()))
    assert ReturnAssessment.objects.get().earlier.job.number == "25-00007"
    assert Device.objects.count() == 1


def test_a_return_of_a_job_without_a_repair_is_kept_as_a_note(tmp_path):
    first = files.bare(handed_back="2025-03-10", outcome="no fault found")
    again = files.back(serial="", maker="", email="", phone="", return_is="new fault")
    files.import_file(files.write(tmp_path, first, again))
    assert not ReturnAssessment.objects.exists()
    note = Job.objects.get(number="25-00019").imported_text
    assert note == "returned_from: 25-00007\nreturn_is: new_fault"


@pytest.mark.parametrize(
    ("rows", "line", "message"),
    [
        ([files.back()], 2, "There is no job 25-00007."),
        (
            [files.row(returned_from="25-00007")],
            2,
            "cannot be a return of itself",
        ),
        ([files.row(return_is="same fault")], 2, "leave return_is empty"),
        ([files.back(), files.row(handed_back="", outcome="")], 2, "not handed over"),
        (
            [files.row(), files.back(booked_in="2025-03-09")],
            4,
            "over on 2025-03-10",
        ),
        ([files.row(), files.back(serial="OTHER")], 4, "another maker or serial"),
        ([files.row(), files.back(serial="", model="Slate 15")], 4, "another model"),
    ],
)
def test_an_impossible_return_is_an_error(tmp_path, rows, line, message):
    errors = files.errors(files.write(tmp_path, *rows))
    found = [w for w in errors if f"line {line}, returned_from: " in w and message in w]
    assert len(found) == 1, errors


def test_circular_returns_are_an_error(tmp_path):
    day = {"booked_in": "2025-03-10", "handed_back": "2025-03-10"}
    rows = [files.row(job=a, returned_from=b, **day) for a, b in ("AB", "BC", "CA")]
    errors = files.errors(files.write(tmp_path, *rows))
    assert any("Circular returns: A from B from C from A" in w for w in errors)


# --- stock ----------------------------------------------------------------------


def assert_stock_agrees():
    for part in Part.objects.all():
        moves = sum(part.movements.values_list("quantity", flat=True))
        left = sum(part.deliveries.values_list("remaining", flat=True))
        assert part.on_hand == moves == left
    for delivery in Delivery.objects.all():
        came = delivery.movements.filter(kind=StockMovement.Kind.RECEIVED)
        assert sum(came.values_list("quantity", flat=True)) == delivery.quantity
        moves = sum(delivery.movements.values_list("quantity", flat=True))
        assert moves == delivery.remaining


def test_used_parts_were_received_so_stock_stays_as_it_is(tmp_path):
    part = make.part("P-100")
    make.delivery(part, 4, lot="L7")
    files.import_file(
        files.write(tmp_path, files.row(), files.row(job="8", parts="P-100*1;Q*3"))
    )
    part.refresh_from_db()
    assert part.on_hand == 4
    assert part.deliveries.get(lot="L7").quantity == 6
    assert Part.objects.get(number="Q").on_hand == 0
    assert_stock_agrees()


def test_parts_cost_beyond_the_listed_parts_is_stored(tmp_path):
    row = files.row(parts="P-100*2@2.50;SCREW*4", parts_cost="5.80")
    files.import_file(files.write(tmp_path, row))
    repair = Repair.objects.get()
    assert repair.parts_cost_from_history == Decimal("0.80")
    assert repair.cost == Decimal("31.30")


@pytest.mark.parametrize("cost", ["4.99", "5.01"])
def test_parts_cost_must_be_the_sum_of_the_parts(tmp_path, cost):
    errors = files.errors(files.write(tmp_path, files.row(parts_cost=cost)))
    assert errors[0].startswith("line 2, parts_cost: parts adds up to 5.00, but")


# --- the fault book -------------------------------------------------------------


def test_a_new_code_needs_a_name_in_one_row_only(tmp_path):
    nameless = files.row(job="8", fault_name="", fix_name="")
    files.import_file(files.write(tmp_path, nameless, files.row()))
    assert Fault.objects.get().name == "Charging socket open"
    fix = Fix.objects.get()
    assert (fix.minutes, fix.fix_type) == (45, "lasting")


def test_a_code_in_the_fault_book_keeps_its_name(tmp_path):
    fault = make.fault(code="PWR-JACK-OPEN", name="Socket")
    make.fix(fault, code="JACK-NEW", warranty_days=400)
    files.import_file(files.write(tmp_path, files.row(fix_name="")))
    fault.refresh_from_db()
    repair = Repair.objects.get()
    assert fault.name == "Socket" and repair.fault == fault
    assert repair.imported_text == "fault_name: Charging socket open"
    assert repair.warranty_days == 400


def test_a_new_code_without_a_name_is_an_error(tmp_path):
    errors = files.errors(files.write(tmp_path, files.row(fault_name="", fix_name="")))
    assert errors[0].startswith(
        "line 2, fault: The fault book has no fault PWR-JACK-OPEN"
    )
    assert errors[1].startswith("line 2, fix: The fault book has no fix JACK-NEW")


# --- repeated imports -----------------------------------------------------------


def test_a_second_import_changes_nothing_and_says_so(tmp_path):
    path = files.write(tmp_path, files.row(), files.back(), files.bare(job="9"))
    files.import_file(path)
    before = files.records()
    output = files.import_file(path)
    assert files.records() == before
    assert "No new jobs" in output and "3 jobs existed already." in output


def test_a_longer_file_adds_only_what_is_new(tmp_path):
    files.import_file(files.write(tmp_path, files.row()))
    output = files.import_file(files.write(tmp_path, files.row(), files.back()))
    assert "1 job existed already." in output
    assert Job.objects.count() == 2 and Device.objects.count() == 1


@pytest.mark.parametrize(
    ("column", "text", "on_record"),
    [
        ("charged", "90.00", "89.50"),
        ("customer", "Eve Fenwick", "Ada Fenwick"),
        ("handed_back", "2025-03-11", "2025-03-10"),
        ("parts", "P-100*2@2.50#L8", "P-100*2@2.5#L7"),
        ("declared", "stopgap", "lasting"),
    ],
)
def test_an_existing_job_with_different_data_is_an_error(
    tmp_path, column, text, on_record
):
    files.import_file(files.write(tmp_path, files.row()))
    changed = files.row(**{column: text})
    errors = files.errors(files.write(tmp_path, changed, files.bare(job="new")))
    assert len(errors) == 2
    message = f"line 2, {column}: Job 25-00007 already exists with different data: "
    assert errors[0].startswith(message)
    assert text in errors[0] and on_record in errors[0]


def test_one_repair_more_on_an_existing_job_is_an_error(tmp_path):
    files.import_file(files.write(tmp_path, files.row()))
    more = files.row(fault="AUD", fault_name="Audio")
    errors = files.errors(files.write(tmp_path, files.row(), more))
    assert "the file has one repair more" in errors[0]


def test_check_saves_nothing_and_finds_the_same(tmp_path):
    path = files.write(tmp_path, files.row(), files.back())
    before = files.records()
    assert "2 rows checked, no errors" in files.import_file(path, "--check")
    assert files.records() == before
    errors = files.errors(files.write(tmp_path, files.row(fault_name="")), "--check")
    assert "no fault PWR-JACK-OPEN" in errors[0]


def test_the_shops_job_numbers_continue_after_those_of_the_file(tmp_path):
    files.import_file(
        files.write(tmp_path, files.row(job="25-00412"), files.bare(job="A"))
    )
    assert Series.objects.get(name="job 2025").last == 412
    assert Job.next_number(date(2025, 5, 1)) == "25-00413"
