"""The fault book: symptoms, faults, fixes and bench checks.

The shape follows ISO 14224 and EN 13306 (area and part, failure mode, cause, activity);
the codes are the shop's own.
"""

from django.core.validators import RegexValidator
from django.db import models
from django.db.models import Count, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce
from django.urls import reverse

from repairs.faults import fix_types
from repairs.stock.models import Part
from shopdesk.fields import SmallNumberField
from shopdesk.lookup import normalize_search, rank_matches
from shopdesk.recording.recorded import Recorded, RecordedQuerySet

CODE = RegexValidator(
    r"^[A-Z0-9]+(?:-[A-Z0-9]+)*\Z",
    "Use capitals and digits in groups joined by hyphens, such as PWR-JACK-OPEN.",
)


class Hazard(models.TextChoices):
    NONE = "", "none"
    BATTERY = "battery", "battery"
    MAINS = "mains", "mains or high voltage"
    HEAT = "heat", "hot air and fumes"


class Entry(Recorded):
    """An entry of the fault book; a retired one stays on past jobs."""

    is_retired = models.BooleanField("retired", default=False)

    class Meta:
        abstract = True

    @property
    def status(self) -> str:
        return "retired" if self.is_retired else ""


class NamedEntry(Entry):
    """A symptom or a check."""

    name = models.CharField(max_length=120, unique=True)

    class Meta:
        abstract = True
        ordering = ["name"]

    def __str__(self):
        return self.name

    def get_absolute_url(self):
        return reverse(f"faults:change_{self._meta.model_name}", args=[self.pk])


class Symptom(NamedEntry):
    """An observation at the bench."""


class EntryQuerySet(RecordedQuerySet):
    """Entries of the fault book, found by their code and text."""

    search_fields = ("code", "name")

    def containing(self, query: str):
        """Entries with every word of `query` in their code or text.

        Case and accents are ignored, which the two databases cannot do alike, so all
        entries are read; a fault book is short.
        """
        words = normalize_search(query).split()
        matches = []
        for pk, *texts in self.order_by().values_list("pk", *self.search_fields):
            text = normalize_search(" | ".join(texts))
            if words and all(word in text for word in words):
                matches.append(pk)
        return self.filter(pk__in=matches)

    def search(self, query: str):
        """Entries that `query` may mean, best match first, retired ones last."""
        return rank_matches(
            self.containing(query),
            exact=Q(code__iexact=query),
            begins=Q(code__istartswith=query) | Q(name__istartswith=query),
            then=["is_retired", "code"],
        )


class FaultQuerySet(EntryQuerySet):
    search_fields = ("code", "name", "area", "part", "mode", "cause")

    def for_list(self):
        """With the columns of a list."""
        fixes = Fix.faults.through.objects.filter(fault=OuterRef("pk"))
        counts = fixes.order_by().values("fault").annotate(n=Count("pk"))
        return self.annotate(fix_count=Coalesce(Subquery(counts.values("n")), 0))

    def areas(self) -> list[str]:
        """The areas in use, each once."""
        areas = self.exclude(area="").order_by("area")
        return list(areas.values_list("area", flat=True).distinct())


class FixQuerySet(EntryQuerySet):
    def for_list(self):
        """With the faults that each is used for."""
        return self.prefetch_related("faults")


class CodedEntry(Entry):
    """A fault or a fix."""

    code = models.CharField(max_length=40, unique=True, validators=[CODE])
    name = models.CharField(max_length=120)
    hazard = models.CharField(max_length=10, choices=Hazard, blank=True, default="")
    notes = models.TextField(max_length=4000, blank=True)

    class Meta:
        abstract = True
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(code="") & ~Q(name=""), name="%(class)s_is_named"
            ),
            models.CheckConstraint(
                condition=Q(hazard__in=Hazard.values), name="%(class)s_hazard_is_known"
            ),
        ]

    def __str__(self):
        return f"{self.code} {self.name}"


class Fault(CodedEntry):
    """A fault: its place (area, part), failure mode and, if known, cause."""

    area = models.CharField(max_length=60, blank=True)
    part = models.CharField(max_length=60, blank=True)
    mode = models.CharField(max_length=60, blank=True)
    cause = models.CharField(max_length=120, blank=True)
    kinds = models.CharField("kinds of device", max_length=200, blank=True, default="")
    symptoms = models.ManyToManyField(
        Symptom, related_name="faults", blank=True, verbose_name="usual symptoms"
    )
    checks = models.ManyToManyField(
        "Check", related_name="faults", blank=True, verbose_name="checks"
    )
    misled = models.TextField("what misled us", max_length=4000, blank=True, default="")

    objects = FaultQuerySet.as_manager()

    def get_absolute_url(self):
        return reverse("faults:fault", args=[self.pk])


class Fix(CodedEntry):
    """A repair measure; one fix may be used for many faults."""

    faults = models.ManyToManyField(Fault, related_name="fixes", blank=True)
    fix_type = models.CharField(
        "usual type", max_length=7, choices=fix_types.CHOICES, default=fix_types.LASTING
    )
    minutes = SmallNumberField("usual minutes", default=30, max_value=10_000)
    warranty_days = SmallNumberField(
        null=True, blank=True, max_value=3650, help_text="Blank: shop default."
    )

    objects = FixQuerySet.as_manager()

    class Meta(CodedEntry.Meta):
        verbose_name_plural = "fixes"
        constraints = [
            *CodedEntry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(fix_type__in=list(fix_types.LABELS)),
                name="fix_type_is_known",
            ),
        ]

    def get_absolute_url(self):
        """The page of a fault it is used for, preferably one in use."""
        faults = self.faults.all()
        fault = min(
            faults, key=lambda fault: (fault.is_retired, fault.code), default=None
        )
        if fault is None:
            return reverse("faults:change_fix", args=[self.pk])
        return f"{fault.get_absolute_url()}#{self.code}"

    @property
    def needs_parts(self) -> bool:
        """Whether the fix has a usual part."""
        return self.usual_parts.exists()


class UsualPart(Recorded):
    """A part that a fix usually takes."""

    fix = models.ForeignKey(Fix, on_delete=models.CASCADE, related_name="usual_parts")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="usual_in")
    quantity = models.PositiveSmallIntegerField(default=1)

    belongs_to = "fix"
    label_relations = ("part",)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["fix", "part"], name="usual_part_once"),
            models.CheckConstraint(
                condition=Q(quantity__gte=1), name="usual_part_at_least_one"
            ),
        ]

    def __str__(self):
        return f"{self.quantity} × {self.part}"


class MergedEntry(Recorded):
    """A fault or a fix that was merged into another one, and is no entry any more.

    It lets the records of the merged entry, and only these, move to the other one
    although they are final: see `moves_with_merge` in repairs/guards.py.
    """

    fault = models.ForeignKey(
        Fault, null=True, on_delete=models.CASCADE, related_name="merged_entries"
    )
    fix = models.ForeignKey(
        Fix, null=True, on_delete=models.CASCADE, related_name="merged_entries"
    )
    old_id = models.PositiveBigIntegerField()
    code = models.CharField(max_length=40)
    name = models.CharField(max_length=120)
    merged_on = models.DateField()

    class Meta:
        ordering = ["id"]
        verbose_name_plural = "merged entries"
        constraints = [
            models.CheckConstraint(
                condition=Q(fault=None, fix__isnull=False)
                | Q(fault__isnull=False, fix=None),
                name="merged_entry_is_of_one_kind",
            ),
        ]

    def __str__(self):
        return f"{self.code} {self.name}"


class Check(NamedEntry):
    """A bench check: what to do, where, its duration and possible results."""

    where = models.CharField(max_length=120, blank=True)
    minutes = SmallNumberField(default=5, max_value=10_000)
    results = models.CharField(max_length=2000, blank=True)

    @property
    def result_options(self) -> list[str]:
        """The results that the fault book names, in its order."""
        return [one for one in map(str.strip, self.results.split(";")) if one]
