"""What the bench writes down of a fault on one model or board revision."""

from django.db import models
from django.db.models import Q

from repairs.customers.models import DeviceModel
from repairs.faults.models import Fault
from repairs.jobs.models import Job
from shopdesk.recording.recorded import Recorded, RecordedQuerySet


class BoardNoteQuerySet(RecordedQuerySet):
    def for_list(self):
        """With the names of model and fault."""
        return self.select_related("model", "fault")

    def for_job(self, job: Job) -> "list[BoardNote]":
        """Return those of its model and of its faults, those of both first."""
        device, faults = job.device, {one.fault_id for one in job.repairs.all()}
        board = device.board_revision
        of_model = Q(model=device.model_id)
        if board:
            of_model &= Q(board_revision__in=["", board])
        notes = list(self.filter(of_model | Q(fault__in=faults)).for_list())
        for note in notes:
            note.is_of_model = note.model_id == device.model_id
            note.is_here = note.is_of_model and note.board_revision in ("", board)
        return sorted(
            notes, key=lambda one: (one.fault_id not in faults, not one.is_here)
        )


class BoardNote(Recorded):
    """A note on a fault for one model; without a board revision, for all of them."""

    fault = models.ForeignKey(
        Fault, on_delete=models.PROTECT, related_name="board_notes"
    )
    model = models.ForeignKey(
        DeviceModel, on_delete=models.PROTECT, related_name="board_notes"
    )
    board_revision = models.CharField(
        max_length=40, blank=True, help_text="Blank: all boards of the model."
    )
    text = models.TextField("note", max_length=2000)

    belongs_to = "fault"
    label_relations = ("model",)

    objects = BoardNoteQuerySet.as_manager()

    class Meta:
        ordering = ["model", "board_revision", "id"]
        constraints = [
            models.CheckConstraint(condition=~Q(text=""), name="board_note_has_text"),
        ]

    def __str__(self):
        return f"Note on {self.place}"

    def get_absolute_url(self):
        return f"{self.fault.get_absolute_url()}#board-notes"

    @property
    def place(self) -> str:
        board = f", board {self.board_revision}" if self.board_revision else ""
        return f"{self.model}{board}"
