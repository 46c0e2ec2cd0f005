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
from shopdesk.lookup import normalize_search, rank_matches

CODE = RegexValidator(
    r"^[A-Z0-9]+(?:-[A-Z0-9]+)*\Z",
    "Use capitals and digits in groups joined by hyphens, such as PWR-JACK-OPEN.",
)


class Hazard(models.TextChoices):
    NONE = "", "none"
    BATTERY = "battery", "battery"
    MAINS = "mains", "mains or high voltage"
    HEAT = "heat", "hot air and fumes"


class Entry(models.Model):
    """An entry of the fault book; a retired one stays on past jobs."""

    is_retired = models.BooleanField("retired", default=False)

    class Meta:
        abstract = True

    @property
    def status(self) -> str:
        return "retired" if self.is_retired else ""


class Symptom(Entry):
    name = models.CharField(max_length=80, unique=True)

    class Meta:
        ordering = ["name"]

    def __str__(self):
        return self.name

    def get_absolute_url(self):
        return reverse("faults:change_symptom", args=[self.pk])


class EntryQuerySet(models.QuerySet):
    """Entries of the fault book, found by their code and text."""

    described_in = ("code", "name")

    def called(self, words: str):
        """Entries with every word of `words` in their code or text.

        Case and accents are ignored, which neither database can do alike, so all
        entries are read; a fault book is short.
        """
        wanted = normalize_search(words).split()
        found = []
        for pk, *said in self.order_by().values_list("pk", *self.described_in):
            text = normalize_search(" | ".join(said))
            if wanted and all(word in text for word in wanted):
                found.append(pk)
        return self.filter(pk__in=found)

    def search(self, words: str):
        """Entries that `words` may mean, best match first, retired ones last."""
        return rank_matches(
            self.called(words),
            exact=Q(code__iexact=words),
            begins=Q(code__istartswith=words) | Q(name__istartswith=words),
            then=["is_retired", "code"],
        )


class FaultQuerySet(EntryQuerySet):
    described_in = ("code", "name", "area", "part", "mode", "cause")

    def in_book(self):
        """With all that one row of the list shows."""
        fixes = Fix.faults.through.objects.filter(fault=OuterRef("pk"))
        counted = fixes.order_by().values("fault").annotate(n=Count("pk")).values("n")
        return self.annotate(fix_count=Coalesce(Subquery(counted), 0))

    def areas(self) -> list[str]:
        """The areas in use, each once."""
        named = self.exclude(area="").order_by("area")
        return list(named.values_list("area", flat=True).distinct())


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
    """What is wrong: where (area, part), how it fails (mode), and why if known."""

    area = models.CharField(max_length=60, blank=True)
    part = models.CharField(max_length=60, blank=True)
    mode = models.CharField(max_length=60, blank=True)
    cause = models.CharField(max_length=120, blank=True)

    objects = FaultQuerySet.as_manager()

    def get_absolute_url(self):
        return reverse("faults:fault", args=[self.pk])


class Fix(CodedEntry):
    """What repairs a fault; one fix may be used for many faults."""

    faults = models.ManyToManyField(Fault, related_name="fixes", blank=True)
    fix_type = models.CharField(
        "usual type", max_length=7, choices=fix_types.CHOICES, default=fix_types.LASTING
    )
    minutes = models.PositiveSmallIntegerField("usual minutes", default=30)
    warranty_days = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Blank: shop default."
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
        faults = sorted(self.faults.all(), key=lambda one: (one.is_retired, one.code))
        if not faults:
            return reverse("faults:change_fix", args=[self.pk])
        return f"{faults[0].get_absolute_url()}#{self.code}"

    @property
    def needs_parts(self) -> bool:
        """Whether the fix has a usual part."""
        return self.usual_parts.exists()


class UsualPart(models.Model):
    """A part that a fix usually takes."""

    fix = models.ForeignKey(Fix, on_delete=models.CASCADE, related_name="usual_parts")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="usual_in")
    quantity = models.PositiveSmallIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["fix", "part"], name="usual_part_once"),
            models.CheckConstraint(
                condition=Q(quantity__gte=1), name="usual_part_at_least_one"
            ),
        ]

    def __str__(self):
        return f"{self.quantity} × {self.part}"


class Check(Entry):
    """A bench check: what to do, where, how long it takes, its possible results."""

    name = models.CharField(max_length=120, unique=True)
    where = models.CharField(max_length=120, blank=True)
    minutes = models.PositiveSmallIntegerField(default=5)
    results = models.CharField(
        max_length=300,
        blank=True,
        help_text="Possible results, separated by semicolons",
    )

    class Meta:
        ordering = ["name"]

    def __str__(self):
        return self.name

    def get_absolute_url(self):
        return reverse("faults:change_check", args=[self.pk])
