"""What the owner changes in the fault book because of what came back."""

from datetime import date

from django.db import transaction

from repairs.faults import declared as kinds
from repairs.faults.models import Fix

LONGEST_NOTES = 4000


class NoRoom(Exception):
    """The fix's notes can't take another line, told as a sentence."""


@transaction.atomic
def declare(fix: Fix, *, declared: str, because: str, by, on: date) -> bool:
    """Call the fix lasting or a stopgap from now on; False where it already was.

    A line in its notes says who did so, when, and by which record. What was declared at
    closing each repair stays as it was.
    """
    fix = Fix.objects.select_for_update().get(pk=fix.pk)
    if fix.declared == declared:
        return False
    called = "a stopgap" if declared == kinds.STOPGAP else "lasting"
    line = f"{on}: usually {called} from now on, says {by}; {because}."
    notes = f"{fix.notes.rstrip()}\n{line}".strip()
    if len(notes) > LONGEST_NOTES:
        raise NoRoom(
            f"The notes of {fix.code} are full, so that nobody could read there who"
            " changed it and why. Shorten them in the fault book first."
        )
    fix.declared, fix.notes = declared, notes
    fix.save(update_fields=["declared", "notes"])
    return True
