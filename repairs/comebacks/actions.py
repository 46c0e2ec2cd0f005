"""What the owner changes in the fault book because of comebacks."""

from django.db import transaction

from repairs.faults.fix_types import STOPGAP
from repairs.faults.models import Fix
from shopdesk.errors import RefusedError
from shopdesk.stamp import Stamp

MAX_NOTES = 4000


@transaction.atomic
def set_fix_type(fix: Fix, *, fix_type: str, reason: str, stamp: Stamp) -> bool:
    """Set a fix to lasting or stopgap; return False if it already was.

    A line in its notes says who changed it, when and why. Past repairs keep their
    recorded type.
    """
    fix = Fix.objects.select_for_update().get(pk=fix.pk)
    if fix.fix_type == fix_type:
        return False
    called = "a stopgap" if fix_type == STOPGAP else "lasting"
    line = f"{stamp.on}: type changed to {called} by {stamp.by}; {reason}."
    notes = f"{fix.notes.rstrip()}\n{line}".strip()
    if len(notes) > MAX_NOTES:
        raise RefusedError(
            f"The notes of {fix.code} are full, so the change cannot be recorded there."
            " Shorten them in the fault book first."
        )
    fix.fix_type, fix.notes = fix_type, notes
    fix.save(update_fields=["fix_type", "notes"])
    return True
