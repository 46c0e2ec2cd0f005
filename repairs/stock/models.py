"""Parts, their deliveries and all stock movements."""

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Count, F, OuterRef, Q, Subquery, Sum
from django.db.models.functions import Coalesce
from django.urls import reverse

from repairs.stock.part_values import PartValue, parse_value, search_keys, split_words
from repairs.stock.reordering import LEAD_DAYS
from shopdesk.errors import RefusedError
from shopdesk.fields import MoneyField
from shopdesk.lookup import Searchable, normalize_search, rank_matches
from shopdesk.recording.recorded import Recorded, RecordedQuerySet


class OutOfStockError(RefusedError):
    """Fewer parts are in stock than were requested."""


def _all_words(words: list[str]) -> Q:
    """Match every word, as typed or as the value it stands for."""
    condition = Q()
    for word in words:
        texts = [normalize_search(word), *search_keys(parse_value(word))]
        condition &= Q(*[("search__contains", text) for text in texts], _connector=Q.OR)
    return condition


def _with_number(text: str) -> Q:
    """Match this number: the shop’s own, the maker’s or a supplier’s."""
    return (
        Q(number__iexact=text)
        | Q(maker_number__iexact=text)
        | Q(supplier_number__iexact=text)
    )


class PartQuerySet(RecordedQuerySet):
    def containing(self, query: str):
        """Parts with every word of `query` in their numbers or description.

        A value is found in any notation: `4k7` finds 4700R, `104` finds 100nF,
        `4.7 kΩ` is one word.
        """
        return self.filter(_all_words(query.split()) | _all_words(split_words(query)))

    def search(self, query: str):
        """Parts that `query` may mean: by number first, then by value, then by text."""
        begins = Q(number__istartswith=query)
        if key := next(search_keys(parse_value(query)), ""):
            begins |= Q(search__contains=key)
        return rank_matches(
            self.containing(query),
            exact=_with_number(query),
            begins=begins,
            then=["is_retired", "number"],
        )

    def with_value(self, value: PartValue):
        """Parts of the same value, whatever their package and ratings."""
        return self.filter(search__contains=next(search_keys(value)))

    def for_list(self):
        """With the columns of a list."""
        deliveries = Delivery.objects.filter(part=OuterRef("pk"), remaining__gt=0)
        counts = deliveries.order_by().values("part").annotate(n=Count("pk"))
        return self.with_reserved().annotate(
            open_deliveries=Coalesce(Subquery(counts.values("n")), 0)
        )

    def with_reserved(self):
        """With `reserved`: how many are kept for jobs in work."""
        return self.annotate(reserved=reserved_of("pk"))

    def without_cost(self):
        """Parts with a delivery whose cost was not entered yet."""
        return self.filter(pk__in=Delivery.objects.without_cost().values("part"))

    def with_wrong_stock(self):
        """Parts whose stock is not the sum of movements, or not that of deliveries."""

        def total(rows, field):
            sums = rows.filter(part=OuterRef("pk")).order_by().values("part")
            return Coalesce(Subquery(sums.values_list(Sum(field))), 0)

        return self.annotate(
            moved=total(StockMovement.objects, "quantity"),
            remaining=total(Delivery.objects, "remaining"),
        ).exclude(on_hand=F("moved"), moved=F("remaining"))


class Part(Searchable, Recorded):
    number = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=120)
    value = models.CharField(
        max_length=60,
        blank=True,
        help_text="As printed on the reel: 4k7 1% 0402, 22uF 6.3V X5R, 90R@100MHz",
    )
    maker_number = models.CharField("maker’s number", max_length=60, blank=True)
    supplier_number = models.CharField("supplier’s number", max_length=60, blank=True)
    bin = models.CharField(max_length=20, blank=True)
    fixed_price = MoneyField(
        "price",
        null=True,
        blank=True,
        is_per_piece=True,
        help_text="Blank: cost plus the shop’s markup.",
    )
    substitutes = models.ManyToManyField("self", blank=True)
    supplier = models.ForeignKey(
        "Supplier",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="parts",
        help_text="Blank: the supplier of the last delivery.",
    )
    reorder_level = models.PositiveIntegerField(
        null=True,
        blank=True,
        help_text="Ordered when stock is at or below it. Blank: calculated from use."
        " 0: ordered for jobs only.",
    )
    lead_days = models.PositiveSmallIntegerField(
        "lead time (days)",
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(365)],
        help_text=f"From order to delivery. Blank: {LEAD_DAYS}.",
    )
    wanted = models.PositiveIntegerField(
        "to order", default=0, help_text="Put on the order list by hand."
    )
    # Always the sum of its movements; stored so that the database can refuse a level
    # below zero in a single statement.
    on_hand = models.PositiveIntegerField(default=0, editable=False)
    is_retired = models.BooleanField("retired", default=False)

    # What is in stock follows from the movements.
    unrecorded = frozenset({"search", "on_hand"})

    objects = PartQuerySet.as_manager()

    class Meta:
        ordering = ["number"]
        constraints = [
            models.CheckConstraint(condition=~Q(number=""), name="part_has_number"),
            models.CheckConstraint(
                condition=Q(fixed_price=None) | Q(fixed_price__gte=0),
                name="part_price_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(lead_days=None) | Q(lead_days__gte=1, lead_days__lte=365),
                name="part_lead_time_makes_sense",
            ),
        ]

    def __str__(self):
        return f"{self.number} {self.name}"

    def get_absolute_url(self):
        return reverse("stock:part", args=[self.pk])

    def search_text(self) -> str:
        numbers = f"{self.number} {self.maker_number} {self.supplier_number}"
        text = normalize_search(f"{numbers} {self.name} {self.value}")
        return " ".join([text, *search_keys(self.parsed_value)])

    @property
    def parsed_value(self) -> PartValue:
        return parse_value(self.value, name=self.name)

    @property
    def free(self) -> int:
        """How many no job needs, negative if too few; only `with_reserved`."""
        return self.on_hand - self.reserved

    @property
    def stock_text(self) -> str:
        """How many there are, and how many are free; only `with_reserved`."""
        text = f"{self.on_hand} in stock"
        if not self.reserved:
            return text
        rest = f"{self.free} free" if self.free >= 0 else f"{-self.free} missing"
        return f"{text}, {self.reserved} reserved, {rest}"

    @property
    def status(self) -> str:
        """Retired or out of stock; empty if neither."""
        if self.is_retired:
            return "retired"
        return "" if self.on_hand else "out of stock"


def reserved_of(part: str):
    """Return an expression: how many of the part, a column of the row, are reserved."""
    # The jobs are above this room: their records are found by the relation.
    reservations = Part._meta.get_field("reservations").related_model.objects
    rows = reservations.active().filter(part=OuterRef(part)).order_by()
    return Coalesce(Subquery(rows.values("part").values_list(Sum("remaining"))), 0)


class SupplierQuerySet(RecordedQuerySet):
    def for_list(self):
        """With the columns of a list."""

        def count(rows):
            rows = rows.filter(supplier=OuterRef("pk")).order_by().values("supplier")
            return Coalesce(Subquery(rows.annotate(n=Count("pk")).values("n")), 0)

        return self.annotate(
            part_count=count(Part.objects),
            delivery_count=count(Delivery.objects),
            order_count=count(PartOrder.objects.open()),
        )


class Supplier(Recorded):
    name = models.CharField(max_length=80, unique=True)
    contact = models.CharField(max_length=120, blank=True)
    phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField(blank=True)
    website = models.URLField(max_length=200, blank=True)
    customer_number = models.CharField("our customer number", max_length=40, blank=True)
    notes = models.TextField(max_length=2000, blank=True)

    objects = SupplierQuerySet.as_manager()

    class Meta:
        ordering = ["name"]

    def __str__(self):
        return self.name

    def get_absolute_url(self):
        return reverse("stock:supplier", args=[self.pk])


class DeliveryQuerySet(RecordedQuerySet):
    def for_list(self):
        """With the columns of a list."""
        return self.select_related("part", "supplier")

    def without_cost(self):
        """Those received by someone who may not see costs; the cost is missing."""
        return self.filter(unit_cost=None)

    def oldest_first(self):
        """In the order in which they are used."""
        return self.order_by("received_on", "id")

    def search(self, query: str):
        """Deliveries whose lot `query` may mean."""
        return rank_matches(
            self.filter(lot__icontains=query),
            exact=Q(lot__iexact=query),
            begins=Q(lot__istartswith=query),
            then=["-received_on", "-id"],
        )


class Delivery(Recorded):
    """One receipt of a part, of one lot."""

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
    # Empty until someone who may see costs enters it.
    unit_cost = MoneyField(null=True)
    received_on = models.DateField()
    # A blocked delivery is set aside: its parts are not in stock until it is released.
    blocked_on = models.DateField(null=True, blank=True, editable=False)
    blocked_reason = models.CharField(max_length=200, blank=True, editable=False)
    blocked_quantity = models.PositiveIntegerField(default=0, editable=False)

    unrecorded = frozenset({"remaining", "blocked_quantity"})
    costs = frozenset({"unit_cost"})
    belongs_to = "part"

    objects = DeliveryQuerySet.as_manager()

    class Meta:
        ordering = ["received_on", "id"]
        verbose_name_plural = "deliveries"
        constraints = [
            models.CheckConstraint(
                condition=Q(remaining__lte=F("quantity")),
                name="delivery_never_above_received",
            ),
            models.CheckConstraint(
                condition=Q(blocked_on=None, blocked_quantity=0, blocked_reason="")
                | Q(blocked_on__isnull=False, remaining=0),
                name="delivery_blocked_is_set_aside",
            ),
            models.CheckConstraint(
                condition=Q(unit_cost__gte=0), name="delivery_cost_not_negative"
            ),
        ]

    def __str__(self):
        return f"{self.lot or f'received {self.received_on}'}"

    @property
    def is_blocked(self) -> bool:
        return self.blocked_on is not None

    @property
    def status(self) -> str:
        return "blocked" if self.is_blocked else ""

    def get_absolute_url(self):
        return f"{self.part.get_absolute_url()}#deliveries"


class PartOrderQuerySet(RecordedQuerySet):
    def open(self):
        """Those of which something is still to come."""
        return self.filter(outstanding__gt=0)

    def for_list(self):
        """With all that a list shows, those expected first at the top."""
        return self.select_related("part", "supplier").order_by(
            F("expected_on").asc(nulls_last=True), "id"
        )

    def fill(self, part: Part, quantity: int) -> None:
        """Count a delivery of so many towards the orders of the part, oldest first."""
        for placed in self.open().select_for_update().filter(part=part).order_by("id"):
            share = min(quantity, placed.outstanding)
            if share:
                placed.outstanding -= share
                placed.save(update_fields=["outstanding"])
                quantity -= share


class PartOrder(Recorded):
    """So many of a part were ordered from a supplier."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="orders")
    supplier = models.ForeignKey(
        Supplier, null=True, on_delete=models.PROTECT, related_name="orders"
    )
    quantity = models.PositiveIntegerField()
    # Neither delivered nor cancelled.
    outstanding = models.PositiveIntegerField(editable=False)
    ordered_on = models.DateField()
    expected_on = models.DateField(null=True, blank=True)
    cancelled_on = models.DateField(null=True, blank=True, editable=False)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    # What is outstanding follows from the deliveries.
    unrecorded = frozenset({"outstanding"})
    belongs_to = "part"
    label_relations = ("part",)

    objects = PartOrderQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        indexes = [
            models.Index(
                fields=["part"], condition=Q(outstanding__gt=0), name="order_of_part"
            ),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(quantity__gte=1, outstanding__lte=F("quantity")),
                name="part_order_quantity",
            ),
            models.CheckConstraint(
                condition=Q(cancelled_on=None) | Q(outstanding=0),
                name="part_order_cancelled_is_closed",
            ),
            models.CheckConstraint(
                condition=Q(expected_on=None) | Q(expected_on__gte=F("ordered_on")),
                name="part_order_expected_after_ordered",
            ),
        ]

    def __str__(self):
        return f"{self.quantity} × {self.part}, ordered {self.ordered_on}"

    def get_absolute_url(self):
        return f"{self.part.get_absolute_url()}#orders"


class StockMovement(models.Model):
    """One stock movement. Never changed: a mistake is corrected by another one."""

    class Kind(models.TextChoices):
        RECEIVED = "received", "received"
        USED = "used", "used"
        PUT_BACK = "put_back", "put back"
        COUNTED = "counted", "counted"
        SCRAPPED = "scrapped", "scrapped"
        BLOCKED = "blocked", "blocked"
        RELEASED = "released", "released"

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="movements")
    delivery = models.ForeignKey(
        Delivery, null=True, on_delete=models.PROTECT, related_name="movements"
    )
    kind = models.CharField(max_length=8, choices=Kind)
    quantity = models.IntegerField()
    reason = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    moved_at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    kind__in=["received", "put_back", "released"], quantity__gt=0
                )
                | Q(kind__in=["used", "scrapped", "blocked"], quantity__lt=0)
                | Q(kind="counted"),
                name="stock_movement_direction",
            ),
        ]

    def __str__(self):
        return f"{self.quantity:+d} {self.part} ({self.get_kind_display()})"
