"""What the customer said when asked how a stopgap holds."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from repairs.jobs.models.repair import Repair
from shopdesk.recording.recorded import Recorded

STAFF = settings.AUTH_USER_MODEL


class StopgapAnswer(Recorded):
    """One answer; the day to ask again is the repair's `ask_on`."""

    class Answer(models.TextChoices):
        HOLDS = "holds", "it holds"
        CAME_BACK = "came_back", "the fault came back"
        NO_ANSWER = "no_answer", "no answer"

    repair = models.ForeignKey(
        Repair, on_delete=models.CASCADE, related_name="stopgap_answers"
    )
    answer = models.CharField(max_length=9, choices=Answer)
    by = models.ForeignKey(STAFF, null=True, on_delete=models.PROTECT, related_name="+")
    asked_on = models.DateField()

    belongs_to = "repair__job"

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(answer__in=["holds", "came_back", "no_answer"]),
                name="stopgap_answer_is_known",
            ),
        ]

    def __str__(self):
        return self.get_answer_display()
