"""What the database sees to in the workshop."""

from shopdesk.guards import Change, LaidOut, Noticed, append_only, follows

# What the comeback table and the month are made from: any change of it shows at once.
COUNTED = {
    "repairs_repair": (
        "job_id fault_id fix_id by_id outcome declared cost charged reserve"
        " handed_back_on"
    ),
    "repairs_job": "device_id booked_in_on handed_back_on",
    "repairs_device": "model_id board_revision watch_ends_on",
    "repairs_devicemodel": "kind maker model",
    "repairs_returndecision": "job_id earlier_id what decided_on",
    "repairs_fault": "code name",
    "repairs_fix": "code name",
    "repairs_partused": "repair_id delivery_id",
    "repairs_delivery": "part_id supplier_id lot received_on",
    "repairs_part": "number",
    "repairs_supplier": "name",
}

_OF_VISIT = "s.job_id = {row}.job_id"
COMEBACKS = LaidOut(
    table="repairs_comeback",
    columns=(
        *("decision_id", "job_id", "earlier_id", "fault_id", "fix_id"),
        *("handed_back_on", "came_back_on", "over_on", "cost"),
        *("known_on", "known_until"),
    ),
    source="repairs_returndecision",
    # A comeback costs what the repairs of that visit for the fault it came back with
    # do. Where the bench then wrote it under another fault, all of the visit counts.
    query="""
        SELECT s.id, s.job_id, s.earlier_id, earlier.fault_id, earlier.fix_id,
            earlier.handed_back_on, visit.booked_in_on, visit.handed_back_on,
            (SELECT coalesce(
                sum(CASE WHEN again.fault_id = earlier.fault_id THEN again.cost END),
                sum(again.cost))
             FROM repairs_repair again WHERE again.job_id = s.job_id),
            s.decided_on,
            (SELECT min(later.decided_on) FROM repairs_returndecision later
             WHERE later.job_id = s.job_id AND later.id > s.id)
        FROM repairs_returndecision s
        JOIN repairs_repair earlier ON earlier.id = s.earlier_id
            AND earlier.outcome = 'fixed' AND earlier.handed_back_on IS NOT NULL
            AND s.what = 'same_fault'
        JOIN repairs_job visit ON visit.id = s.job_id""",
    changes=(
        Change(
            "repairs_returndecision",
            "INSERT",
            which=_OF_VISIT.format(row="NEW"),
            # Nobody else sees the decision yet, so all that it rests on is held.
            locks=(
                "SELECT 1 FROM repairs_job WHERE id = NEW.job_id FOR UPDATE",
                "SELECT 1 FROM repairs_repair WHERE job_id = NEW.job_id"
                " OR id = NEW.earlier_id ORDER BY id FOR SHARE",
            ),
        ),
        Change("repairs_repair", "INSERT", which=_OF_VISIT.format(row="NEW")),
        Change("repairs_repair", "DELETE", which=_OF_VISIT.format(row="OLD")),
        Change(
            "repairs_repair",
            "UPDATE",
            which="(s.earlier_id = NEW.id OR s.job_id IN (OLD.job_id, NEW.job_id))",
            columns=(
                *("job_id", "fault_id", "fix_id"),
                *("outcome", "handed_back_on", "cost"),
            ),
        ),
        Change(
            "repairs_job",
            "UPDATE",
            which="s.job_id = NEW.id",
            columns=("booked_in_on", "handed_back_on"),
        ),
    ),
)

GUARDS = [
    *append_only("repairs_step", "A step of a job is never changed."),
    *append_only("repairs_stockmove", "A stock move is never changed: move it back."),
    *append_only(
        "repairs_returndecision", "A decision is never changed: decide again."
    ),
    *follows(
        table="repairs_repair",
        column="handed_back_on",
        of="repairs_job",
        link="job_id",
        why="A repair is handed back on the day of its job.",
    ),
    COMEBACKS,
    *(
        Noticed(table, tuple(columns.split()), marks="repairs_changed")
        for table, columns in COUNTED.items()
    ),
]
