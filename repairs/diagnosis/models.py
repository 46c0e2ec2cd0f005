"""What the shop has learnt: a row for each case, and counts over all cases.

The counts follow from the cases, and both are written in the transaction that closes a
job. They are stored since counting 100,000 cases takes seconds and several servers must
give one answer.
"""

import json

from django.db import models

from repairs.customers.models import DeviceModel
from repairs.faults.models import Fault
from repairs.jobs.models import Job


class LearntCase(models.Model):
    """A fault that was found on a closed job, and what was known before it was found.

    `features` hold numbers of symptoms, results of checks, and keyed hashes of words
    (`repairs.diagnosis.learning.word_hash`), so no word of a complaint.
    """

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="learnt")
    fault = models.ForeignKey(Fault, on_delete=models.PROTECT, related_name="learnt")
    model = models.ForeignKey(
        DeviceModel, on_delete=models.PROTECT, related_name="learnt"
    )
    board = models.CharField(max_length=40, blank=True)
    closed_on = models.DateField()
    # A line for each.
    features = models.TextField(blank=True)

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["fault", "model"], name="learnt_fault_model")]
        constraints = [
            models.UniqueConstraint(fields=["job", "fault"], name="learnt_fault_once"),
        ]

    def __str__(self):
        return f"{self.job}: {self.fault.code}"

    @property
    def keys(self) -> list[str]:
        return self.features.splitlines()


class LearntCount(models.Model):
    """In how many cases each fault was found, at a level and with a feature.

    Both are keys of `repairs.diagnosis.evidence`; `faults` maps the number of each
    fault to its cases. One row holds all faults, so an answer reads few rows.
    """

    level = models.CharField(max_length=100, blank=True)
    feature = models.CharField(max_length=100, blank=True)
    # JSON text: a JSONField brings a CHECK that SQLite considers unsafe.
    faults_json = models.TextField(default="{}")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["level", "feature"], name="learnt_count_once"
            ),
        ]

    def __str__(self):
        return f"{self.level} {self.feature}"

    @property
    def faults(self) -> dict[str, int]:
        return json.loads(self.faults_json)

    @faults.setter
    def faults(self, counts: dict[str, int]) -> None:
        self.faults_json = json.dumps(counts, separators=(",", ":"))
