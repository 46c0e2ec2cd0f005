"""What the database sees to in the workshop."""

from shopdesk.guards import Noticed, append_only, follows

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
    *(
        Noticed(table, tuple(columns.split()), marks="repairs_changed")
        for table, columns in COUNTED.items()
    ),
]
