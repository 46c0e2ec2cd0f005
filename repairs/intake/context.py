"""What the one screen of booking in knows: who and what was chosen, what was typed, and
where the keyboard goes next."""

from uuid import uuid4

from django.core.exceptions import ValidationError

from repairs.customers.fields import TidyField, phone_of
from repairs.customers.forms import DeviceForm, NewCustomerForm
from repairs.customers.models import Customer, Device
from repairs.intake.forms import Asked, JobForm
from repairs.intake.queries import (
    MOST,
    alike_customers,
    found_customers,
    found_devices,
    near_devices,
)
from repairs.intake.steps import BOOK, FIND, GO, LOOK, NEW, chosen, pk_of
from repairs.jobs import states
from shopdesk.fields import plain


class BookIn:
    """The one screen: whom and what was chosen, what was typed, and what comes next."""

    def __init__(self, data, *, is_sent, shop, on, is_typing=False):
        self.shop, self.on, self.data = shop, on, data
        self.is_typing = is_typing
        self.asked = Asked(data)
        self.asked.is_valid()
        said = self.asked.cleaned_data
        self.key = said.get("key") or uuid4()
        self.who = said.get("who") or ""
        self.is_another = said.get("is_another", False)
        self.is_another_device = said.get("is_another_device", False)
        self.customer = self._customer(said.get("customer"))
        self.device = self._device(said.get("device"))
        self.found, self.found_devices, self.near, self.alike = [], [], [], []
        self.focus = self.serial = self.step = ""
        self.visits, self.here = [], None
        if is_typing:
            return
        # Following a link never books anything in.
        self.step = said.get("step") if is_sent else FIND if self.who else ""
        self._take(self.step or (GO if is_sent else ""))
        self._make_forms(is_sent)
        self._choose_from()

    # --- whom and what ------------------------------------------------------

    def _customer(self, said):
        if said == NEW:
            return NEW
        pk = pk_of(said)
        return pk and Customer.objects.filter(pk=pk, erased_on=None).first()

    def _device(self, said):
        if said == NEW:
            return NEW
        pk = pk_of(said)
        return (
            pk and Device.objects.select_related("model", "owner").filter(pk=pk).first()
        )

    def _take(self, step):
        """Do what was pressed: choose, un-choose, find, or go on."""
        self.step = step
        what, which = chosen(step)
        if what == "customer":
            self.customer = self._customer(which)
            if not which:
                self.device, self.focus = None, "who"
        elif what == "device":
            self.device = self._device(which)
            self._owner_if_nobody()
        elif step == GO:
            self.step = FIND if not self.customer else BOOK if self.device else LOOK
        if self.step == FIND and not self.customer:
            self._find()
        elif self.step == LOOK and not isinstance(self.device, Device):
            self._look()

    def _owner_if_nobody(self):
        if not self.customer and isinstance(self.device, Device):
            self.customer = self.device.owner

    def _find(self):
        """One hit is chosen, several are offered, none makes a new customer."""
        self.found_devices = found_devices(self.who)
        self.found = found_customers(self.who)
        if len(self.found) + len(self.found_devices) > 1:
            self.focus = "found"
        elif self.found:
            self.customer = self.found[0]
        elif self.found_devices:
            self.device = self.found_devices[0]
            self.customer = self.device.owner
        elif self.who:
            self.customer = NEW
        else:
            self.focus = "who"

    def _look(self):
        """Look the serial up: one hit is chosen."""
        serial = self._typed("d-serial", 60)
        known = list(Device.objects.with_serial(serial).for_rows()[:MOST])
        if len(known) == 1:
            self.device = known[0]
            self._owner_if_nobody()
        elif serial:
            self.device = NEW

    def _typed(self, name, most):
        try:
            return TidyField(required=False, max_length=most).clean(self.data.get(name))
        except ValidationError:
            return ""

    # --- the forms ----------------------------------------------------------

    def _make_forms(self, is_sent):
        """Judged only when booking in; before that they keep what was typed."""
        places = {"places": self.shop.places}
        if self.step == BOOK:
            self.customer_form = NewCustomerForm(self.data, prefix="c")
            self.device_form = DeviceForm(self.data, prefix="d")
            self.job_form = JobForm(self.data, **places)
            return
        fresh = {} if is_sent else {"fee_agreed": self.shop.diagnosis_fee}
        self.customer_form = NewCustomerForm(
            prefix="c", initial=self._kept(NewCustomerForm, "c-") or self._from_who()
        )
        self.device_form = DeviceForm(prefix="d", initial=self._kept(DeviceForm, "d-"))
        self.job_form = JobForm(initial={**fresh, **self._kept(JobForm)}, **places)

    def _kept(self, form_class, prefix=""):
        """What was typed into a form, unjudged."""
        return {
            name: self.data[prefix + name]
            for name in form_class.base_fields
            if prefix + name in self.data
        }

    def _from_who(self):
        """A new customer's first field, from the words nobody was found by."""
        if "@" in self.who:
            return {"email": self.who}
        number = phone_of(self.who, country=self.shop.country)
        return {"phone": number} if number else {"name": self.who}

    def _choose_from(self):
        """What there is to choose from now, and where the keyboard goes."""
        self.devices = []
        if isinstance(self.customer, Customer) and not self.device:
            theirs = Device.objects.filter(owner=self.customer)
            self.devices = list(theirs.for_rows()[:30])
        if self.customer and not self.device and not self.devices:
            self.device = NEW
        self._look_back()
        self.focus = self.focus or self._next()
        self._put_keyboard()

    def _put_keyboard(self):
        """Into the box that comes next; a refusal has the keyboard for itself."""
        asked_in = {
            self.asked: ("who",),
            self.customer_form: ("name", "phone"),
            self.device_form: ("serial", "kind"),
            self.job_form: ("complaint",),
        }
        for form, names in asked_in.items():
            if self.focus in names and self.step != BOOK:
                form.fields[self.focus].widget.attrs["autofocus"] = True

    def _look_back(self):
        """What is known of the chosen device, or of the serial that was typed."""
        if isinstance(self.device, Device):
            self.visits = self.device.jobs.visits(on=self.on)
            self.here = next((job for job in self.visits if job.is_open), None)
        else:
            self.serial = self._typed("d-serial", 60)
            self.near = near_devices(self.serial)
        self.against = self._against()

    def _against(self):
        """The repair it is held against: as chosen, else the last one still covered."""
        repairs = [
            r
            for job in self.visits
            if job.days_since is not None
            for r in job.repairs.all()
        ]
        said = self.asked.cleaned_data.get("against")
        is_just_chosen = chosen(self.step)[0] == "device"
        if "against" in self.data and said == "" and not is_just_chosen:
            return None
        held = (repair for repair in repairs if str(repair.pk) == said)
        covered = (repair for repair in repairs if repair.still_covered)
        return next(held, None) or next(covered, None)

    def _next(self):
        if not self.customer:
            return "who"
        if self.customer == NEW and not self.data.get("c-name"):
            return "phone" if self._from_who().get("name") else "name"
        if not self.device:
            return "devices"
        if self.device == NEW:
            return "kind" if self.data.get("d-serial") else "serial"
        return "complaint"

    # --- while one types ----------------------------------------------------

    def look_for_people(self):
        """Only look: nothing is chosen by typing."""
        self.found = found_customers(self.who)
        self.found_devices = found_devices(self.who)
        said = {name: self._typed(f"c-{name}", 254) for name in ("name", "email")}
        phone = phone_of(self._typed("c-phone", 40), country=self.shop.country)
        self.alike = alike_customers(phone=phone, **said)

    def look_for_device(self):
        """A serial that is known chooses its device, since that is why it was typed."""
        customer, asked_as_new = self.customer, self.device == NEW
        self._look()
        self.customer = customer
        if self.device == NEW and not asked_as_new:
            self.device = None
        self._look_back()

    # --- booking in ---------------------------------------------------------

    @property
    def forms(self):
        """Those that are asked now, the page's errors being theirs."""
        asked = [self.customer_form] if self.customer == NEW else []
        asked += [self.device_form] if self.device == NEW else []
        return [*asked, self.job_form]

    def is_valid(self):
        """Whether all can be booked in; else each reason stands at its field."""
        good = [form.is_valid() for form in self.forms]
        if not self.customer:
            self.job_form.add_error(None, "Say who brings it: find them, or a new one.")
        if not self.device:
            self.job_form.add_error(None, "Choose the device, or say it is a new one.")
        if self.here:
            self.job_form.add_error(None, here_already(self.here))
        if self.customer == NEW and self.customer_form.is_valid():
            self._check_alike()
        if self.device == NEW and self.device_form.is_valid():
            self._check_known()
        return all(good) and not any(form.errors for form in self.forms)

    def _check_alike(self):
        facts = self.customer_form.cleaned_data
        self.alike = alike_customers(
            **{k: facts[k] for k in ("name", "phone", "email")}
        )
        if self.alike and not self.is_another:
            self.customer_form.add_error(
                "name", "Someone like this is on record: choose them, or tick below."
            )

    def _check_known(self):
        facts = self.device_form.cleaned_data
        maker = plain(facts["maker"])
        for known in Device.objects.with_serial(facts["serial"]).for_rows():
            if known.maker_key == maker:
                self.device = known
                self._choose_from()
                self.job_form.add_error(
                    None,
                    f"{known} was here before. Its past jobs are shown now: look at"
                    " them, then book it in.",
                )
                return
        if self.near and not self.is_another_device:
            self.device_form.add_error(
                "serial", "A device like this was here: choose it, or tick below."
            )

    def new_or_chosen_customer(self):
        if self.customer != NEW:
            return self.customer
        return self.customer_form.save(commit=False)

    def new_or_chosen_device(self, owner):
        if self.device != NEW:
            return self.device
        return self.device_form.device(owner=owner)

    # --- for the page -------------------------------------------------------

    @property
    def is_new_customer(self):
        return self.customer == NEW

    @property
    def known_customer(self):
        return self.customer if isinstance(self.customer, Customer) else None

    @property
    def is_new_device(self):
        return self.device == NEW

    @property
    def known_device(self):
        return self.device if isinstance(self.device, Device) else None

    @property
    def changes_owner(self):
        device = self.known_device
        return device and self.customer and device.owner != self.customer


def here_already(job):
    """Why a device can't be booked in now, as a sentence."""
    if job.state == states.EXPECTED:
        return f"This device was announced as job {job.number}: it has arrived there."
    return f"This device is here already, as job {job.number}: hand it back first."
