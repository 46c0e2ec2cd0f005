"""The records of the workshop that the database refuses to change."""

from shopdesk.triggers import (
    ChangeMarkTrigger,
    ForbidChange,
    append_only,
    changed,
    erases,
    follows,
)

# What the comeback table and the monthly report are made from: changes show at once.
COUNTED = {
    "repairs_repair": (
        "job_id fault_id fix_id by_id outcome fix_type cost charged comeback_allowance"
        " handed_over_on"
    ),
    "repairs_job": "device_id booked_in_on handed_over_on",
    "repairs_device": "model_id board_revision out_of_use_on",
    "repairs_devicemodel": "kind maker model",
    "repairs_returnassessment": "job_id earlier_id assessment assessed_on",
    "repairs_fault": "code name",
    "repairs_fix": "code name",
    "repairs_partused": "repair_id delivery_id",
    "repairs_delivery": "part_id supplier_id lot received_on",
    "repairs_part": "number",
    "repairs_supplier": "name",
}


def customer_is_erased(job: str) -> str:
    """Return a condition: the customer of the job whose id is `job` is erased."""
    return (
        "EXISTS (SELECT 1 FROM repairs_job of_job JOIN repairs_customer of_customer"
        " ON of_customer.id = of_job.customer_id"
        f" WHERE of_job.id = {job} AND of_customer.erased_on IS NOT NULL)"
    )


def import_is_undone(job: str) -> str:
    """Return a condition: the import that created the job of id `job` is undone."""
    return (
        "EXISTS (SELECT 1 FROM repairs_job made JOIN repairs_pastimport undone"
        " ON undone.id = made.past_import_id"
        f" WHERE made.id = {job} AND undone.undone_at IS NOT NULL)"
    )


def moves_with_merge(kind: str) -> str:
    """Return a condition: the row moves from a fault or fix to the one it was merged
    into, as `kind` says.
    """
    return (
        f"EXISTS (SELECT 1 FROM repairs_mergedentry WHERE {kind}_id = NEW.{kind}_id"
        f" AND old_id = OLD.{kind}_id)"
    )


def changed_but_merged(kind: str) -> str:
    """Return a condition: the fault or fix of the row changes, and not by a merge."""
    return f"({changed(f'{kind}_id')} AND NOT {moves_with_merge(kind)})"


UNDONE = import_is_undone("OLD.job_id")
ERASED_JOB = customer_is_erased("OLD.job_id")
FINAL = "A repair cannot be changed after handover."

GUARDS = [
    *append_only(
        "repairs_jobtransition",
        "The history of a job cannot be changed.",
        unless=erases(
            "why", others="id job_id from_state to_state by_id made_at", of=ERASED_JOB
        ),
        unless_deleted=UNDONE,
    ),
    *append_only(
        "repairs_stockmovement",
        "A stock movement cannot be changed. Record a correcting movement.",
    ),
    ForbidChange("repairs_photofile", "UPDATE", "A photo cannot be changed."),
    ForbidChange(
        "repairs_photo",
        "UPDATE",
        "A photo cannot be changed, only what is said of it.",
        changed("job_id", "sha256", "added_at", "size")
        + " OR OLD.removed_at IS NOT NULL",
    ),
    *append_only(
        "repairs_returnassessment",
        "An assessment cannot be changed. Assess the return again.",
        unless=erases(
            "why",
            others="id job_id earlier_id assessment is_in_warranty by_id assessed_on",
            of=ERASED_JOB,
        ),
        unless_deleted=UNDONE,
    ),
    *follows(
        table="repairs_repair",
        column="handed_over_on",
        of="repairs_job",
        link="job_id",
        why="A repair is handed over on the day of its job.",
    ),
    # A comeback states which repair came back; that cannot change.
    ForbidChange(
        "repairs_repair",
        "UPDATE",
        FINAL,
        "OLD.handed_over_on IS NOT NULL AND ("
        + changed("job_id", "outcome", "fix_type", "cost", "handed_over_on")
        + f" OR {changed_but_merged('fault')} OR {changed_but_merged('fix')})",
        rule="final",
    ),
    ForbidChange(
        "repairs_repair",
        "DELETE",
        FINAL,
        f"OLD.handed_over_on IS NOT NULL AND NOT {UNDONE}",
    ),
    ForbidChange(
        "repairs_pastimport",
        "UPDATE",
        "An import is undone once.",
        "OLD.undone_at IS NOT NULL AND " + changed("undone_at", "made_json"),
    ),
    ForbidChange(
        "repairs_job",
        "UPDATE",
        "The day of booking in and the day of handover cannot be changed.",
        f"(OLD.handed_over_on IS NOT NULL AND {changed('handed_over_on')})"
        f" OR (OLD.state <> 'expected' AND {changed('booked_in_on')})",
    ),
    *(
        ChangeMarkTrigger(table, tuple(columns.split()), marks="repairs_changemark")
        for table, columns in COUNTED.items()
    ),
]
