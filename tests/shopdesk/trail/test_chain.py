"""The chain of the trail: what the database refuses, and what `verify` finds."""

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection, transaction

from repairs.customers.models import Customer
from shopdesk import triggers
from shopdesk.guards import GUARDS
from shopdesk.recording import chain
from shopdesk.recording.models import TrailEntry
from shopdesk.recording.writing import erase_details, key_of
from tests import make
from tests.at_once import all_at_once

TABLE = "shopdesk_trailentry"


def run(sql, *values):
    with connection.cursor() as cursor:
        cursor.execute(sql, values)


@pytest.fixture
def three(db):
    """Three sealed entries, about three customers."""
    for name in ("Ada", "Ben", "Cy"):
        make.customer(name)
    chain.seal()
    entries = list(TrailEntry.objects.in_chain())
    assert [entry.position for entry in entries] == [1, 2, 3]
    assert entries[2].previous_hash == entries[1].hash
    return entries


@pytest.fixture
def unguarded(three):
    """The same where someone dropped the triggers, who may then change anything."""
    for statement in triggers.drop(GUARDS, vendor=connection.vendor):
        run(statement)
    return three


@pytest.mark.parametrize(
    "change",
    [
        "details = '{}'",
        "salt = ''",
        "at = '2020-01-01'",
        "by_name = 'Nobody'",
        "record = 99",
        "details_hash = ''",
        "hash = 'x'",
        "position = NULL",
        "position = 9",
    ],
)
def test_the_database_refuses_to_change_an_entry(three, change):
    with pytest.raises(DatabaseError, match="only be added to"), transaction.atomic():
        run(f"UPDATE {TABLE} SET {change} WHERE id = %s", three[1].pk)
    assert chain.verify().wrong == ""


def test_the_database_refuses_to_delete_an_entry_or_to_add_a_sealed_one(three):
    with pytest.raises(DatabaseError, match="only be added to"), transaction.atomic():
        run(f"DELETE FROM {TABLE} WHERE id = %s", three[2].pk)
    forged = TrailEntry.objects.get(pk=three[0].pk)
    forged.pk, forged.position = None, 4
    with pytest.raises(DatabaseError, match="sealed after"), transaction.atomic():
        forged.save(force_insert=True)
    assert chain.verify().count == 3


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ("details = '{}'", "its values were changed"),
        ("details = ''", "its values were changed"),
        ("by_name = 'Nobody'", "it was changed"),
        ("action = 'deleted'", "it was changed"),
        ("hash = 'x'", "it was changed"),
        ("previous_hash = 'x'", "it does not follow"),
    ],
)
def test_an_edited_entry_is_named(unguarded, change, why):
    run(f"UPDATE {TABLE} SET {change} WHERE id = %s", unguarded[1].pk)
    found = chain.verify()
    assert found.count == 1
    assert f"Entry 2 of the trail (id {unguarded[1].pk}): {why}" in found.wrong


def test_a_deleted_entry_is_named(unguarded):
    run(f"DELETE FROM {TABLE} WHERE id = %s", unguarded[1].pk)
    assert "entry 2 of the chain is missing" in chain.verify().wrong


def test_a_swapped_order_is_named(unguarded):
    one, two, _ = unguarded
    run(f"UPDATE {TABLE} SET position = NULL WHERE id = %s", one.pk)
    run(f"UPDATE {TABLE} SET position = 1 WHERE id = %s", two.pk)
    run(f"UPDATE {TABLE} SET position = 2 WHERE id = %s", one.pk)
    found = chain.verify()
    assert (found.count, found.wrong.split(":")[0]) == (
        0,
        f"Entry 1 of the trail (id {two.pk})",
    )


def test_a_removed_end_is_found_by_the_last_hash_that_was_noted(unguarded):
    noted = chain.verify()
    assert (noted.count, noted.hash) == (3, unguarded[2].hash)
    assert chain.verify(noted=(3, noted.hash)).wrong == ""
    run(f"DELETE FROM {TABLE} WHERE id = %s", unguarded[2].pk)
    assert chain.verify().wrong == ""
    found = chain.verify(noted=(3, noted.hash)).wrong
    assert found == "Entry 3 of the trail is missing or another one than was noted."


def test_values_can_be_erased_and_the_chain_holds(three):
    customer = Customer.objects.get(name="Ben")
    assert erase_details(key_of(customer)) == 1
    entry = TrailEntry.objects.get(record=customer.pk, kind="repairs.customer")
    assert (entry.details, entry.salt, entry.values) == ("", "", None)
    assert chain.verify() == chain.Verdict(3, 0, "", three[2].hash)
    with pytest.raises(DatabaseError, match="only be added to"), transaction.atomic():
        TrailEntry.objects.filter(pk=entry.pk).update(details="{}", salt="a")


@pytest.mark.django_db(transaction=True)
def test_entries_are_sealed_after_each_commit():
    with transaction.atomic():
        make.customer()
        make.customer()
        assert chain.verify().unsealed == 2
    assert chain.verify().count == 2
    make.customer()
    found = chain.verify()
    assert (found.count, found.unsealed, found.wrong) == (3, 0, "")


@pytest.mark.django_db(transaction=True)
def test_entries_of_a_savepoint_rolled_back_leave_the_others_to_be_sealed():
    with transaction.atomic():
        with transaction.atomic():
            make.customer()
            transaction.set_rollback(True)
        make.customer()
    assert (chain.verify().count, chain.verify().unsealed) == (1, 0)


@pytest.mark.django_db(transaction=True)
def test_a_crash_before_sealing_leaves_entries_to_the_next_seal(monkeypatch):
    with monkeypatch.context() as patch:
        patch.setattr(chain, "_seal_batch", lambda: 1 / 0)
        make.customer("Ada")  # committed all the same
    assert Customer.objects.count() == 1
    assert chain.verify().unsealed == 1
    make.customer("Ben")
    found = chain.verify()
    assert (found.count, found.unsealed, found.wrong) == (2, 0, "")


@pytest.mark.django_db(transaction=True)
def test_two_who_write_at_once_make_one_chain():
    def work():
        for _ in range(10):
            make.customer()

    assert all_at_once(work, work, work) == []
    chain.seal()
    found = chain.verify()
    assert (found.count, found.unsealed, found.wrong) == (30, 0, "")


@pytest.mark.django_db(transaction=True)
def test_many_entries_are_sealed_in_several_steps(monkeypatch):
    monkeypatch.setattr(chain, "BATCH", 3)
    with transaction.atomic():
        for _ in range(8):
            make.customer()
    found = chain.verify()
    assert (found.count, found.unsealed, found.wrong) == (8, 0, "")


def test_the_command_says_what_it_found(unguarded, capsys):
    make.customer()
    call_command("verify_trail")
    said = capsys.readouterr().out
    assert "3 entries" in said and "1 entry is not sealed yet" in said
    assert unguarded[2].hash in said
    run(f"UPDATE {TABLE} SET source = 'x' WHERE id = %s", unguarded[1].pk)
    with pytest.raises(CommandError, match="Entry 2 of the trail"):
        call_command("verify_trail")
