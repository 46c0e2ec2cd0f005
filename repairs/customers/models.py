"""Customers, device models and devices."""

from django.db import models
from django.db.models import OuterRef, Q, Subquery
from django.urls import reverse

from repairs.customers.names import lookalike_serial, normalize_serial, phone_digits
from shopdesk.lookup import Searchable, narrowed, normalize_search, rank_matches
from shopdesk.recording.recorded import Recorded, RecordedQuerySet
from shopdesk.shop import tax

SEPARATOR = " | "
"""Between name, company, email and phone, so that a whole name can be matched."""


def _matches(*, name: str, phone: str, email: str) -> Q:
    """Same phone, email or whole name; empty values match nothing."""
    matches = Q(pk__in=[])
    if phone:
        matches |= Q(phone=phone)
    if email:
        matches |= Q(email__iexact=email)
    if normalize_search(name):
        matches |= Q(search__startswith=normalize_search(name) + SEPARATOR)
    return matches


def _last_visit(model):
    """Return the day of the last job of each, found by an index."""
    relation = model.jobs.rel
    jobs = relation.related_model.objects.filter(
        **{relation.field.name: OuterRef("pk")}
    )
    return Subquery(jobs.order_by("-booked_in_on").values("booked_in_on")[:1])


class CustomerQuerySet(RecordedQuerySet):
    def containing(self, query: str):
        """Customers with every word of `query` in name, company, email or phone.

        A phone number may be typed as dialled from the shop, in full or in part.
        """
        customers = self.filter(erased_on=None)
        query = normalize_search(query)
        numbers = phone_digits(query)
        if numbers:
            shortest = min(numbers, key=len)  # any other contains it
            customers = narrowed(customers, "search_customer", query, shortest)
            matches = Q(search__contains=query) | Q(phone__contains=shortest)
            return customers.filter(matches)
        for word in query.split():
            customers = narrowed(customers, "search_customer", word)
            customers = customers.filter(search__contains=word)
        return customers

    def similar(self, *, name: str, phone: str = "", email: str = ""):
        """Customers who are probably the same: same phone, email or whole name."""
        matches = _matches(name=name, phone=phone, email=email)
        return self.filter(matches, erased_on=None)

    def search(self, query: str, *, phone: str = ""):
        """Customers whom `query` may mean; `phone` is `query` as E.164, if valid."""
        customers = self.containing(query)
        if phone:
            customers |= self.filter(phone=phone, erased_on=None)
        return rank_matches(
            customers,
            exact=_matches(name=query, phone=phone, email=query),
            begins=Q(search__startswith=normalize_search(query)),
            then=["name", "id"],
        )

    def for_list(self):
        """With the columns of a list; `last_visit` is found row by row."""
        return self.annotate(last_visit=_last_visit(self.model))


class Customer(Searchable, Recorded):
    class Contact(models.TextChoices):
        PHONE = "phone", "phone"
        EMAIL = "email", "email"
        POST = "post", "post"

    TAX_KINDS = (("", "shop default"), *tax.KINDS)
    BUYER_KINDS = (
        ("", "business if a company is entered"),
        (tax.PRIVATE, "private customer"),
        (tax.BUSINESS, "business"),
        (tax.ABROAD, "business in another country"),
        (tax.EXEMPT_BODY, "exempt organisation"),
    )

    class EInvoice(models.TextChoices):
        NONE = "", "none"
        PDF = "pdf", "inside the PDF"
        UBL = "ubl", "as a UBL file"

    name = models.CharField(max_length=120)
    company = models.CharField(max_length=120, blank=True)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=20, blank=True, help_text="E.164")
    address = models.TextField(max_length=300, blank=True)
    country = models.CharField("country code", max_length=2, blank=True)
    tax_id = models.CharField("tax number", max_length=40, blank=True)
    tax_kind = models.CharField(
        "tax", max_length=8, choices=TAX_KINDS, blank=True, default=""
    )
    # What the shop's tax rules call it; see `shopdesk.shop.tax`.
    buyer_kind = models.CharField(
        "kind of customer", max_length=8, choices=BUYER_KINDS, blank=True, default=""
    )
    einvoice = models.CharField(
        "e-invoice",
        max_length=3,
        choices=EInvoice,
        blank=True,
        default=EInvoice.NONE,
        help_text=(
            "For a business whose accounting software imports invoices (EN 16931)."
            " Inside the PDF suits most; choose the UBL file if they ask for it."
        ),
    )
    preferred_contact = models.CharField(
        "preferred contact", max_length=5, choices=Contact, default=Contact.PHONE
    )
    notes = models.TextField(max_length=2000, blank=True)
    # Until then nothing is erased, as when there is a dispute.
    keep_until = models.DateField("keep data until", null=True, blank=True)
    keep_reason = models.CharField("reason", max_length=200, blank=True)
    erased_on = models.DateField(null=True, blank=True, editable=False)
    created_at = models.DateTimeField(auto_now_add=True)

    unrecorded = frozenset({"search", "created_at"})

    objects = CustomerQuerySet.as_manager()

    class Meta:
        ordering = ["name", "id"]
        indexes = [
            models.Index(fields=["phone"]),
            models.Index(fields=["email"]),
            models.Index(fields=["erased_on", "name", "id"], name="customer_list"),
        ]
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="customer_has_name"),
            models.CheckConstraint(
                condition=Q(keep_until=None) | ~Q(keep_reason=""),
                name="customer_kept_for_a_reason",
            ),
        ]

    def __str__(self):
        return f"{self.name} ({self.company})" if self.company else self.name

    def get_absolute_url(self):
        return reverse("customers:customer", args=[self.pk])

    @property
    def as_buyer(self) -> tax.Buyer:
        """Return what the tax on its invoices depends on."""
        guessed = tax.BUSINESS if self.company else tax.PRIVATE
        return tax.Buyer(self.buyer_kind or guessed, self.tax_kind)

    def search_text(self) -> str:
        texts = (self.name, self.company, self.email, self.phone)
        return SEPARATOR.join(normalize_search(text) for text in texts)


class DeviceModelQuerySet(RecordedQuerySet):
    def families(self) -> list[str]:
        """The families in use, each once."""
        found = self.exclude(family="").order_by("family")
        return list(found.values_list("family", flat=True).distinct())

    def of_family(self, model: "DeviceModel"):
        """The models of the same kind and family; the model alone if it has none."""
        if not model.family:
            return self.filter(pk=model.pk)
        return self.filter(kind=model.kind, family=model.family)

    def matching(self, *, kind: str, maker: str, model: str) -> "DeviceModel | None":
        """Return the model of this name, ignoring case and accents."""
        wanted = [normalize_search(name) for name in (kind, maker, model)]
        for pk, *names in self.values_list("pk", "kind", "maker", "model"):
            if [normalize_search(name) for name in names] == wanted:
                return self.get(pk=pk)
        return None


class DeviceModel(Recorded):
    """A make and model."""

    kind = models.CharField(max_length=40, help_text="laptop, tablet, amplifier …")
    maker = models.CharField(max_length=60, blank=True)
    model = models.CharField(max_length=80)
    # Models that share their faults: the bench learns from all of them.
    family = models.CharField(max_length=60, blank=True, default="")

    objects = DeviceModelQuerySet.as_manager()

    class Meta:
        ordering = ["maker", "model"]
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "maker", "model"], name="device_model_once"
            ),
            models.CheckConstraint(
                condition=~Q(kind="") & ~Q(model=""), name="device_model_is_named"
            ),
        ]

    def __str__(self):
        return f"{self.maker} {self.model}".strip()


MIN_SERIAL_SEARCH = 3
"""Fewest characters that are searched inside serials; fewer occur in most of them."""


class DeviceQuerySet(RecordedQuerySet):
    def with_serial(self, serial: str):
        """The devices with exactly this serial number, of any maker."""
        key = normalize_serial(serial)
        return self.filter(serial_normalized=key) if key else self.none()

    def similar_serial(self, serial: str):
        """Devices whose serial differs only by look-alikes: 0/O, 1/I, 5/S, 8/B."""
        key = normalize_serial(serial)
        if not key:
            return self.none()
        return self.filter(serial_lookalike=lookalike_serial(serial)).exclude(
            serial_normalized=key
        )

    def search(self, query: str):
        """Devices whose serial `query` may mean, misread or partial."""
        key, lookalike = normalize_serial(query), lookalike_serial(query)
        devices = self.with_serial(query)
        if len(key) >= MIN_SERIAL_SEARCH:
            # Whatever contains the serial itself contains its look-alike, too.
            devices = narrowed(self, "search_device", lookalike)
            devices = devices.filter(serial_lookalike__contains=lookalike)
        return rank_matches(
            devices,
            exact=Q(serial_normalized=key),
            begins=Q(serial_lookalike__startswith=lookalike),
            then=["-pk"],
        )

    def for_list(self):
        """With the columns of a list, latest visit first."""
        devices = self.select_related("model", "owner")
        return devices.annotate(last_visit=_last_visit(self.model)).order_by(
            models.F("last_visit").desc(nulls_last=True), "-pk"
        )


class Device(Recorded):
    """One device; its history stays with it when the owner changes."""

    model = models.ForeignKey(
        DeviceModel, on_delete=models.PROTECT, related_name="devices"
    )
    serial = models.CharField(max_length=60, blank=True)
    board_revision = models.CharField(max_length=40, blank=True)
    owner = models.ForeignKey(
        Customer, on_delete=models.PROTECT, related_name="devices"
    )
    # After this day the shop would not learn of a comeback: scrapped, sold, refunded.
    out_of_use_on = models.DateField(null=True, blank=True)
    maker_key = models.CharField(max_length=60, editable=False, default="")
    serial_normalized = models.CharField(max_length=60, editable=False, default="")
    serial_lookalike = models.CharField(max_length=60, editable=False, default="")

    unrecorded = frozenset({"maker_key", "serial_normalized", "serial_lookalike"})
    label_relations = ("model",)

    objects = DeviceQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(fields=["serial_normalized"]),
            models.Index(fields=["serial_lookalike"]),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["maker_key", "serial_normalized"],
                condition=~Q(serial_normalized=""),
                name="device_serial_once_a_maker",
            ),
        ]

    def __str__(self):
        return f"{self.model} {self.serial}".strip()

    def save(self, *args, **kwargs):
        self.set_keys()
        super().save(*args, **kwargs)

    def get_absolute_url(self):
        return reverse("customers:device", args=[self.pk])

    def transfer_to(self, owner: Customer) -> bool:
        """Make `owner` the current owner; return whether that changed anything."""
        if self.owner_id == owner.pk:
            return False
        self.owner = owner
        self.save(update_fields=["owner"])
        return True

    def set_keys(self) -> None:
        """Set the keys by which serials are found; bulk inserts call it themselves."""
        self.maker_key = normalize_search(self.model.maker)
        self.serial_normalized = normalize_serial(self.serial)
        self.serial_lookalike = lookalike_serial(self.serial)
