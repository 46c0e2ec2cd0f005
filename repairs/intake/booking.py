"""The booking screen: the customer and device chosen, the entries, and the next step.

One field of the form, `step`, says which button was pressed: one of the words below, or
a choice such as `customer:12`, `customer:new` and `customer:` (none of these).
"""

from functools import cached_property
from uuid import uuid4

from django.core.exceptions import ValidationError

from repairs.customers.fields import NormalizedCharField, find_record, phone_of
from repairs.customers.forms import DeviceForm, NewCustomerForm
from repairs.customers.models import Customer, Device
from repairs.intake import queries
from repairs.intake.actions import already_here
from repairs.intake.forms import BookingStateForm, JobForm
from shopdesk.lookup import normalize_search

FIND = "find"
LOOK_UP = "look"  # the serial number
NEXT = "go"  # Enter in any box
BOOK = "book"
NEW = "new"
CUSTOMERS = Customer.objects.filter(erased_on=None)
DEVICES = Device.objects.select_related("model", "owner")


class Booking:
    """One form of the booking screen. A new customer or device is not saved yet."""

    def __init__(self, request, *, on):
        is_sent = request.method == "POST"
        self.data = request.POST if is_sent else request.GET
        self.shop, self.on = request.shop, on
        self.state = BookingStateForm(self.data)
        self.state.is_valid()
        state = self.state.cleaned_data
        self.key = state.get("key") or uuid4()
        self.query = state.get("query") or ""
        self.customer = _record(CUSTOMERS, state.get("customer"))
        self.device = _record(DEVICES, state.get("device"))
        # Following a link never books anything in.
        self.step = FIND if self.query else ""
        if is_sent:
            self.step = state.get("step") or NEXT
        self.focus = ""
        self.is_typing = False
        self.found_customers, self.found_devices = [], []
        self.similar_customers, self.similar_devices = [], []
        self.devices, self.visits, self.open_job = [], [], None

    def press(self):
        """Do what the button says: choose, find or go on; then offer the next step."""
        field, choice = _choice(self.step)
        if field == "customer":
            self.customer = _record(CUSTOMERS, choice)
            if not choice:
                self.device, self.focus = None, "query"
        elif field == "device":
            self._choose_device(_record(DEVICES, choice))
        elif self.step == NEXT and self.customer:
            self.step = BOOK if self.device else LOOK_UP
        elif self.step == NEXT:
            self.step = FIND
        if self.step == FIND and not self.customer:
            self._find()
        elif self.step == LOOK_UP and not self.is_existing_device:
            self._look_up()
        self._offer()
        return self

    def _find(self):
        """Choose the only match; offer several; without one, begin a new customer."""
        self._search()
        if len(self.found_customers) + len(self.found_devices) > 1:
            self.focus = "found"
        elif self.found_customers:
            self.customer = self.found_customers[0]
        elif self.found_devices:
            self._choose_device(self.found_devices[0])
        elif self.query:
            self.customer = Customer()
        else:
            self.focus = "query"

    def _search(self):
        self.found_devices = queries.find_devices(self.query)
        self.found_customers = queries.find_customers(self.query)

    def _look_up(self):
        """Choose the only device with the serial number entered."""
        serial = self._typed("d-serial", 60)
        devices = queries.find_devices(serial)
        if len(devices) == 1:
            self._choose_device(devices[0])
        elif serial:
            self.device = Device()

    def _choose_device(self, device):
        """Choose a device and, if no customer was chosen, its owner."""
        self.device = device
        if self.is_existing_device and not self.customer:
            self.customer = device.owner

    def _offer(self):
        """Offer the devices to choose from, and set the focus to the next field."""
        if self.customer and not self.device:
            if self.customer.pk:
                self.devices = queries.devices_of(self.customer)
            if not self.devices:
                self.device = Device()
        self._look_back()
        if self.step != BOOK:
            self.focus = self.focus or self._next_field()
            self._set_focus(self.state)

    def _look_back(self):
        """Find what is on record of the chosen device, or of the serial entered."""
        if self.is_existing_device:
            self.visits = self.device.jobs.visits(on=self.on)
            self.open_job = next((job for job in self.visits if job.is_open), None)
        else:
            self.similar_devices = queries.similar_devices(self.serial)

    def _next_field(self):
        if not self.customer:
            return "query"
        if self.is_new_customer and not self.data.get("c-name"):
            return "phone" if "name" in self._from_query() else "name"
        if not self.device:
            return "devices"
        if self.is_new_device:
            return "kind" if self.data.get("d-serial") else "serial"
        return "complaint"

    def suggest_customers(self):
        """Find customers while somebody types; nothing is chosen."""
        self._search()
        phone = phone_of(self._typed("c-phone", 40), country=self.shop.phone_country)
        name, email = self._typed("c-name", 254), self._typed("c-email", 254)
        self.similar_customers = queries.similar_customers(name, phone, email)
        return self

    def recognize_device(self):
        """Choose the device with the serial entered, if it is on record."""
        customer, was_new = self.customer, self.is_new_device
        self.is_typing = True
        self._look_up()
        self.customer = customer
        if self.is_new_device and not was_new:
            self.device = None
        self._look_back()
        return self

    @cached_property
    def customer_form(self):
        facts = {"prefix": "c", "shop": self.shop}
        return self._form(NewCustomerForm, self._from_query(), **facts)

    @cached_property
    def device_form(self):
        return self._form(DeviceForm, {}, prefix="d")

    @cached_property
    def job_form(self):
        fee = {"agreed_diagnosis_fee": self.shop.diagnosis_fee}
        return self._form(JobForm, fee, places=self.shop.places)

    def _form(self, form_class, initial, **facts):
        """The form; before booking in it only keeps the entries, unchecked."""
        if self.step == BOOK:
            return form_class(self.data, **facts)
        form = form_class(initial=initial, **facts)
        for name in form.fields:
            entry = self.data.get(form.add_prefix(name))
            if entry is not None:
                form.initial[name] = entry
        self._set_focus(form)
        return form

    def _set_focus(self, form):
        if self.focus in form.fields:
            form.fields[self.focus].widget.attrs["autofocus"] = True

    def _from_query(self):
        """The first entry of a new customer, from the query without results."""
        if "@" in self.query:
            return {"email": self.query}
        number = phone_of(self.query, country=self.shop.phone_country)
        if number:
            return {"phone": number}
        return {"name": self.query} if self.query else {}

    def _typed(self, name, max_length):
        try:
            field = NormalizedCharField(required=False, max_length=max_length)
            return field.clean(self.data.get(name))
        except ValidationError:
            return ""

    @property
    def forms(self):
        """The forms that are checked; their errors are listed on top of the page."""
        forms = [self.customer_form] if self.is_new_customer else []
        forms += [self.device_form] if self.is_new_device else []
        return [*forms, self.job_form]

    def is_valid(self):
        """Whether the device can be booked in; errors are added to the forms."""
        for form in self.forms:
            form.full_clean()
        if not self.customer:
            self.job_form.add_error(None, "Select or add a customer.")
        if not self.device:
            self.job_form.add_error(None, "Select or add a device.")
        if self.open_job:
            self.job_form.add_error(None, already_here(self.open_job))
        if self.is_new_customer and self.customer_form.is_valid():
            self._check_similar_customers()
        if self.is_new_device and self.device_form.is_valid():
            self._check_similar_devices()
        return not any(form.errors for form in self.forms)

    def _check_similar_customers(self):
        facts = self.customer_form.cleaned_data
        self.similar_customers = queries.similar_customers(
            facts["name"], facts["phone"], facts["email"]
        )
        if self.similar_customers and not self.state.cleaned_data.get("is_another"):
            self.customer_form.add_error(
                "name", "A similar customer exists. Select it or tick the box below."
            )

    def _check_similar_devices(self):
        facts = self.device_form.cleaned_data
        maker_key = normalize_search(facts["maker"])
        is_another = self.state.cleaned_data.get("is_another_device")
        devices = Device.objects.with_serial(facts["serial"]).for_list()
        if device := devices.filter(maker_key=maker_key).first():
            self.device = device
            self._look_back()
            self.job_form.add_error(
                None,
                f"{device} has been here before. Check its past jobs, then book it in.",
            )
        elif self.similar_devices and not is_another:
            self.device_form.add_error(
                "serial", "A similar device exists. Select it or tick the box below."
            )

    def new_or_chosen(self):
        """The customer and the device to book in; either may be new and not saved."""
        if self.is_new_customer:
            self.customer = self.customer_form.save(commit=False)
        if self.is_new_device:
            self.device = self.device_form.device(owner=self.customer)
        return self.customer, self.device

    @property
    def is_new_customer(self):
        return self.customer is not None and self.customer.pk is None

    @property
    def is_new_device(self):
        return self.device is not None and self.device.pk is None

    @property
    def is_existing_device(self):
        return self.device is not None and not self.is_new_device

    @property
    def changes_owner(self):
        return (
            self.is_existing_device
            and self.customer is not None
            and self.device.owner != self.customer
        )

    @property
    def serial(self):
        return "" if self.is_existing_device else self._typed("d-serial", 60)

    @cached_property
    def earlier_repair(self):
        """The repair this may be a return of: as chosen, else the last in warranty."""
        repairs = [
            repair
            for job in self.visits
            if job.days_since is not None
            for repair in job.repairs.all()
        ]
        choice = self.state.cleaned_data.get("against")
        is_just_chosen = _choice(self.step)[0] == "device"
        if "against" in self.data and choice == "" and not is_just_chosen:
            return None
        selected = (repair for repair in repairs if str(repair.pk) == choice)
        in_warranty = (repair for repair in repairs if repair.still_in_warranty)
        return next(selected, None) or next(in_warranty, None)


def _choice(step):
    """("customer", "12") of `customer:12`; two empty strings if nothing is chosen."""
    field, colon, choice = step.partition(":")
    return (field, choice) if colon and field in ("customer", "device") else ("", "")


def _record(records, choice):
    """The record chosen, a new one, or None."""
    return records.model() if choice == NEW else find_record(records, choice)
