"""Parts, the deliveries they came in, and every move of them."""

from django.conf import settings
from django.db import models
from django.db.models import Count, F, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce
from django.urls import reverse

from repairs.stock.part_values import PartValue, keys, read, words_of
from shopdesk.errors import RefusedError
from shopdesk.fields import MoneyField, plain, rank_matches


class OutOfStockError(RefusedError):
    """Fewer parts are in stock than were requested."""


def _each(words: list[str]) -> Q:
    """Each word is there, as it was typed or as the value it is."""
    every = Q()
    for word in words:
        one = Q(search__contains=plain(word))
        for key in keys(read(word)):
            one |= Q(search__contains=key)
        every &= one
    return every


def _numbered(text: str) -> Q:
    """With this number, whether the shop gave it, the maker or a supplier."""
    return (
        Q(number__iexact=text)
        | Q(maker_number__iexact=text)
        | Q(supplier_number__iexact=text)
    )


class PartQuerySet(models.QuerySet):
    def called(self, words: str):
        """Those in whose numbers or description every word of `words` is found.

        A word that is a value finds that value however it is written: `4k7` finds
        4700R, `104` finds 100nF, `4.7 kΩ` is one word.
        """
        return self.filter(_each(words.split()) | _each(words_of(words)))

    def search(self, words: str):
        """Those that `words` may mean; a number comes before a value, a value before
        what is only mentioned.
        """
        value = keys(read(words))
        begins = Q(number__istartswith=words)
        if value:
            begins |= Q(search__contains=value[0])
        return rank_matches(
            self.called(words),
            exact=_numbered(words),
            begins=begins,
            then=["is_retired", "number"],
        )

    def valued(self, value: PartValue):
        """Those of the same value, package and ratings apart."""
        return self.filter(search__contains=keys(value)[0])

    def on_shelf(self):
        """With all that one row of the shelf shows."""
        holding = Delivery.objects.filter(part=OuterRef("pk"), remaining__gt=0)
        counted = holding.order_by().values("part").annotate(n=Count("pk")).values("n")
        return self.annotate(holding=Coalesce(Subquery(counted), 0))


class Part(models.Model):
    number = models.CharField(max_length=40, unique=True)
    name = models.CharField("what it is", max_length=120)
    value = models.CharField(
        max_length=60,
        blank=True,
        help_text="As printed on the reel: 4k7 1% 0402, 22uF 6.3V X5R, 90R@100MHz",
    )
    maker_number = models.CharField(max_length=60, blank=True)
    supplier_number = models.CharField(max_length=60, blank=True)
    bin = models.CharField(max_length=20, blank=True)
    fixed_price = MoneyField(
        null=True, blank=True, help_text="Empty: cost with the shop's markup."
    )
    substitutes = models.ManyToManyField("self", blank=True)
    # Always the sum of its moves; kept here so that the database can refuse to go
    # below zero in one statement.
    on_hand = models.PositiveIntegerField(default=0, editable=False)
    is_retired = models.BooleanField("retired", default=False)
    search = models.TextField(editable=False, default="")

    objects = PartQuerySet.as_manager()

    class Meta:
        ordering = ["number"]
        constraints = [
            models.CheckConstraint(
                condition=Q(on_hand__gte=0), name="part_never_below_zero"
            ),
            models.CheckConstraint(condition=~Q(number=""), name="part_has_number"),
            models.CheckConstraint(
                condition=Q(fixed_price=None) | Q(fixed_price__gte=0),
                name="part_price_not_negative",
            ),
        ]

    def __str__(self):
        return f"{self.number} {self.name}"

    def save(self, *args, update_fields=None, **kwargs):
        self.search = self.searched_as()
        if update_fields is not None:
            update_fields = {*update_fields, "search"}
        super().save(*args, update_fields=update_fields, **kwargs)

    def get_absolute_url(self):
        return reverse("stock:part", args=[self.pk])

    def searched_as(self) -> str:
        """What `search` holds for the values of now; bulk inserts set it themselves."""
        numbers = f"{self.number} {self.maker_number} {self.supplier_number}"
        said = plain(f"{numbers} {self.name} {self.value}")
        return " ".join([said, *keys(self.reading)])

    @property
    def reading(self) -> PartValue:
        """What its value says, read."""
        return read(self.value, name=self.name)

    @property
    def standing(self) -> str:
        """How it stands on the shelf, in a word or in none."""
        if self.is_retired:
            return "retired"
        return "" if self.on_hand else "none left"


class Supplier(models.Model):
    name = models.CharField(max_length=80, unique=True)

    class Meta:
        ordering = ["name"]

    def __str__(self):
        return self.name


class DeliveryQuerySet(models.QuerySet):
    def for_list(self):
        """With all that one row of a list shows."""
        return self.select_related("part", "supplier")

    def oldest_first(self):
        """In the order in which they are used."""
        return self.order_by("received_on", "id")

    def search(self, words: str):
        """Those whose lot `words` may mean."""
        return rank_matches(
            self.filter(lot__icontains=words),
            exact=Q(lot__iexact=words),
            begins=Q(lot__istartswith=words),
            then=["-received_on", "-id"],
        )


class Delivery(models.Model):
    """One receipt of a part: its lot."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="deliveries")
    supplier = models.ForeignKey(
        Supplier,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="deliveries",
    )
    lot = models.CharField("lot or date code", max_length=40, blank=True)
    quantity = models.PositiveIntegerField()
    remaining = models.PositiveIntegerField(editable=False)
    unit_cost = MoneyField("cost of one")
    received_on = models.DateField()

    objects = DeliveryQuerySet.as_manager()

    class Meta:
        ordering = ["received_on", "id"]
        verbose_name_plural = "deliveries"
        constraints = [
            models.CheckConstraint(
                condition=Q(remaining__gte=0), name="delivery_never_below_zero"
            ),
            models.CheckConstraint(
                condition=Q(remaining__lte=F("quantity")),
                name="delivery_never_above_received",
            ),
            models.CheckConstraint(
                condition=Q(unit_cost__gte=0), name="delivery_cost_not_negative"
            ),
        ]

    def __str__(self):
        return f"{self.lot or f'received {self.received_on}'}"

    def get_absolute_url(self):
        return f"{self.part.get_absolute_url()}#deliveries"


class StockMovement(models.Model):
    """One move of a part. Never changed: a mistake is moved back."""

    class Kind(models.TextChoices):
        RECEIVED = "received", "received"
        USED = "used", "used"
        PUT_BACK = "put_back", "put back"
        COUNTED = "counted", "counted"
        SCRAPPED = "scrapped", "scrapped"

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="moves")
    delivery = models.ForeignKey(
        Delivery, null=True, on_delete=models.PROTECT, related_name="moves"
    )
    kind = models.CharField(max_length=8, choices=Kind)
    quantity = models.IntegerField()
    why = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    moved_at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=["received", "put_back"], quantity__gt=0)
                | Q(kind__in=["used", "scrapped"], quantity__lt=0)
                | Q(kind="counted"),
                name="stock_move_direction",
            ),
        ]

    def __str__(self):
        return f"{self.quantity:+d} {self.part} ({self.get_kind_display()})"
