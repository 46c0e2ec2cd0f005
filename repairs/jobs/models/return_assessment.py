"""What was decided about a return, and the comebacks that follow from it."""

from collections.abc import Sequence
from datetime import date

from django.conf import settings
from django.db import connections, models, transaction
from django.db.models import Q

from repairs.faults.models import Fault, Fix
from repairs.jobs import states
from repairs.jobs.models.job import Job
from repairs.jobs.models.repair import Repair
from shopdesk.fields import MoneyField

STAFF = settings.AUTH_USER_MODEL


class ReturnAssessment(models.Model):
    """What a return is. Rows are added, never changed: the last one is in force.

    So any past day can be asked what was known on it.
    """

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="decisions")
    earlier = models.ForeignKey(
        Repair, on_delete=models.PROTECT, related_name="later_assessments"
    )
    assessment = models.CharField(
        "assessment", max_length=15, choices=list(states.RETURN_ASSESSMENTS.items())
    )
    is_in_warranty = models.BooleanField("covered", default=False)
    why = models.CharField(max_length=500, blank=True)
    by = models.ForeignKey(STAFF, null=True, on_delete=models.PROTECT, related_name="+")
    assessed_on = models.DateField()

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["earlier", "assessment"])]
        constraints = [
            models.CheckConstraint(
                condition=Q(assessment__in=list(states.RETURN_ASSESSMENTS)),
                name="return_is_known",
            ),
            # Only the same fault is owed: all else is new work.
            models.CheckConstraint(
                condition=Q(is_in_warranty=False)
                | Q(assessment__in=[states.SAME_FAULT, states.UNDECIDED]),
                name="return_covered_only_same_fault",
            ),
        ]

    def __str__(self):
        return f"{self.job}: {self.get_assessment_display()}"

    @property
    def is_warranty_repair(self) -> bool:
        """Whether the visit is a warranty repair: the same fault, and in warranty."""
        return self.is_in_warranty and self.assessment == states.SAME_FAULT

    @property
    def covered_fault(self) -> int | None:
        """The fault that the warranty covers; None if it covers nothing."""
        return self.earlier.fault_id if self.is_warranty_repair else None

    @property
    def continued_until(self) -> date | None:
        """The last day of the warranty that a repair on this visit continues."""
        return self.earlier.warranty_until if self.is_warranty_repair else None


COLUMNS = (
    *("decision_id", "job_id", "earlier_id", "fault_id", "fix_id"),
    *("handed_over_on", "came_back_on", "rework_handed_over_on", "cost"),
    *("recorded_on", "superseded_on"),
)
# A comeback costs what the repairs of that visit for the fault it came back with do.
# Where the bench then recorded it under another fault, all of the visit counts.
QUERY = """
    SELECT s.id, s.job_id, s.earlier_id, earlier.fault_id, earlier.fix_id,
        earlier.handed_over_on, visit.booked_in_on, visit.handed_over_on,
        (SELECT coalesce(
            sum(CASE WHEN again.fault_id = earlier.fault_id THEN again.cost END),
            sum(again.cost))
         FROM repairs_repair again WHERE again.job_id = s.job_id),
        s.assessed_on,
        (SELECT min(later.assessed_on) FROM repairs_returnassessment later
         WHERE later.job_id = s.job_id AND later.id > s.id)
    FROM repairs_returnassessment s
    JOIN repairs_repair earlier ON earlier.id = s.earlier_id
        AND earlier.outcome = 'fixed' AND earlier.handed_over_on IS NOT NULL
        AND s.assessment = 'same_fault'
    JOIN repairs_job visit ON visit.id = s.job_id"""
INSERT = f"INSERT INTO repairs_comeback ({', '.join(COLUMNS)}) {QUERY}"


class ComebackQuerySet(models.QuerySet):
    def recorded_on(self, day):
        """The comebacks as they were known on that day, one a visit.

        A decision is never changed, a later one takes its place: of those made by the
        day the last holds, and what was decided later was not known yet.
        """
        return self.filter(
            recorded_on__lte=day, came_back_on__lte=day, handed_over_on__lte=day
        ).exclude(superseded_on__lte=day)

    @transaction.atomic
    def write(self, job: Job) -> None:
        """Write the rows of one visit anew, after anything they are made from changed.

        That is: a decision, the day the device came in, and the handover. The visit is
        locked: of two who change it at once, the second sees what the first one did.
        """
        list(Job.objects.select_for_update(no_key=True).filter(pk=job.pk).values("pk"))
        with connections[self.db].cursor() as cursor:
            cursor.execute("DELETE FROM repairs_comeback WHERE job_id = %s", [job.pk])
            cursor.execute(f"{INSERT} WHERE s.job_id = %s", [job.pk])

    @transaction.atomic
    def write_all(self) -> None:
        """Write the whole table anew, after records came in by the thousand."""
        with connections[self.db].cursor() as cursor:
            if connections[self.db].vendor == "postgresql":
                # Nobody writes the row of one visit meanwhile; reading goes on.
                cursor.execute("LOCK TABLE repairs_comeback IN EXCLUSIVE MODE")
            cursor.execute("DELETE FROM repairs_comeback")
            cursor.execute(INSERT)

    def first_difference(self) -> str:
        """Return where the table first differs from the query, or an empty string."""
        table = f"SELECT {', '.join(COLUMNS)} FROM repairs_comeback"
        differing = (
            f"SELECT * FROM (SELECT * FROM ({QUERY} EXCEPT {table}) AS missing"
            f" UNION ALL SELECT * FROM ({table} EXCEPT {QUERY}) AS wrong) AS differing"
            " ORDER BY 1 LIMIT 1"
        )
        with connections[self.db].cursor() as cursor:
            cursor.execute(differing)
            found = cursor.fetchone()
            if found is None:
                return ""
            decision = found[0]
            cursor.execute(f"{QUERY} WHERE s.id = %s", [decision])
            right = cursor.fetchone()
            cursor.execute(f"{table} WHERE decision_id = %s", [decision])
            return f"decision {decision}: {_compare(cursor.fetchone(), right)}"


def _compare(row: Sequence | None, right: Sequence | None) -> str:
    """Say how a row of the table differs from what the query returns for it."""
    if row is None:
        return "the row is missing"
    if right is None:
        return "there must be no row"
    return ", ".join(
        f"{column} is {is_} and must be {must}"
        for column, is_, must in zip(COLUMNS, row, right, strict=True)
        if is_ != must
    )


class Comeback(models.Model):
    """What a decision for the same fault says, where the earlier repair was fixed.

    A table of its own so that a million repairs are counted without asking decisions,
    repairs and jobs. Only `write` fills it: what it says of the earlier repair is final
    (`repairs/guards.py`), the rest changes in three actions that call it.
    """

    decision = models.OneToOneField(
        ReturnAssessment, primary_key=True, on_delete=models.CASCADE, editable=False
    )
    job = models.ForeignKey(
        Job, on_delete=models.CASCADE, related_name="comebacks", editable=False
    )
    earlier = models.ForeignKey(
        Repair, on_delete=models.CASCADE, related_name="comebacks", editable=False
    )
    # What is said of the earlier repair; no index, since none is search by it alone.
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
    handed_over_on = models.DateField(editable=False)
    # And of the visit.
    came_back_on = models.DateField(editable=False)
    rework_handed_over_on = models.DateField(null=True, editable=False)
    cost = MoneyField(null=True, editable=False)
    recorded_on = models.DateField(editable=False)
    # The day another decision took its place.
    superseded_on = models.DateField(null=True, editable=False)

    objects = ComebackQuerySet.as_manager()

    def __str__(self):
        return f"{self.job} of {self.earlier}"

    def cost_on(self, day):
        """What doing it again cost, as known on that day; None while it is here."""
        is_over = (
            self.rework_handed_over_on is not None and self.rework_handed_over_on <= day
        )
        return self.cost if is_over else None
