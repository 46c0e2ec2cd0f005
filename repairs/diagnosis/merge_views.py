"""The owner's pages by which two entries of the fault book become one."""

from django.shortcuts import get_object_or_404

from repairs.diagnosis import book_merge
from repairs.diagnosis.forms import EntryQueryForm
from repairs.faults.models import Fault, Fix
from shopdesk.look.merging_pages import merge_page


def merge_faults(request, pk):
    """Search for another entry of the fault, and merge it into this one."""
    return merge_page(
        request,
        get_object_or_404(Fault, pk=pk),
        form=EntryQueryForm,
        search=Fault.objects.search,
        preview=book_merge.fault_merge,
        action=book_merge.merge_faults,
        swap="diagnosis:merge_faults",
    )


def merge_fixes(request, pk):
    """Search for another entry of the fix, and merge it into this one."""
    return merge_page(
        request,
        get_object_or_404(Fix, pk=pk),
        form=EntryQueryForm,
        search=Fix.objects.search,
        preview=book_merge.fix_merge,
        action=book_merge.merge_fixes,
        swap="diagnosis:merge_fixes",
    )
