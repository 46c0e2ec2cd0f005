"""The comeback: a return with the same fault, laid out for counting."""

from django.db import models

from repairs.faults.models import Fault, Fix
from repairs.jobs.models.job import Job
from repairs.jobs.models.repair import Repair
from repairs.jobs.models.returns import ReturnDecision
from shopdesk.fields import MoneyField


class ComebackQuerySet(models.QuerySet):
    def known_on(self, day):
        """The comebacks as they were known on that day, one a visit.

        A decision is never changed, a later one takes its place: of those made by the
        day the last holds, and what was decided later was not known yet.
        """
        return self.filter(
            known_on__lte=day, came_back_on__lte=day, handed_back_on__lte=day
        ).exclude(known_until__lte=day)


class Comeback(models.Model):
    """What a decision for the same fault says, where the earlier repair was fixed.

    Nobody but the database writes here: it keeps these rows equal to the decision, the
    earlier repair and the visit, so that a million repairs are counted without asking
    any of the three. `repairs/guards.py` says how.
    """

    decision = models.OneToOneField(
        ReturnDecision, primary_key=True, on_delete=models.CASCADE, editable=False
    )
    job = models.ForeignKey(
        Job, on_delete=models.CASCADE, related_name="comebacks", editable=False
    )
    earlier = models.ForeignKey(
        Repair, on_delete=models.CASCADE, related_name="comebacks", editable=False
    )
    # What is said of the earlier repair; no index, since none is sought by it alone.
    fault = models.ForeignKey(
        Fault,
        on_delete=models.PROTECT,
        related_name="+",
        db_index=False,
        editable=False,
    )
    fix = models.ForeignKey(
        Fix, on_delete=models.PROTECT, related_name="+", db_index=False, editable=False
    )
    handed_back_on = models.DateField(editable=False)
    # And of the visit.
    came_back_on = models.DateField(editable=False)
    over_on = models.DateField(null=True, editable=False)
    cost = MoneyField(null=True, editable=False)
    known_on = models.DateField(editable=False)
    # The day another decision took its place.
    known_until = models.DateField(null=True, editable=False)

    objects = ComebackQuerySet.as_manager()

    def __str__(self):
        return f"{self.job} of {self.earlier}"

    def cost_on(self, day):
        """What doing it again cost, as known on that day; None while it is here."""
        is_over = self.over_on is not None and self.over_on <= day
        return self.cost if is_over else None
