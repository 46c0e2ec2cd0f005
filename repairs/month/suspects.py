"""The suspect deliveries, models and boards that matter where one works."""

from dataclasses import dataclass

from django.db.models import Q
from django.utils import timezone

from repairs.comebacks.scope import Scope
from repairs.customers.models import Device
from repairs.month.groups import DELIVERY, GroupRow, warnings
from repairs.month.report import groups
from repairs.stock.models import Delivery
from shopdesk.shop.models import Shop


@dataclass(frozen=True)
class Suspect:
    """A group with too many comebacks; `delivery` is the record if it is one."""

    group: GroupRow
    delivery: Delivery | None = None

    @property
    def can_be_blocked(self) -> bool:
        return self.delivery is not None and self.delivery.remaining > 0

    @property
    def advice(self) -> str:
        """What to do about it."""
        if self.delivery is None:
            return "Check this first."
        if self.delivery.is_blocked:
            return "It is blocked: do not use what is left."
        if self.delivery.remaining:
            return f"Do not use the {self.delivery.remaining} left."
        return "None are left. Do not accept this lot again."


def suspects_of(
    *,
    shop: Shop,
    part: int | None = None,
    job: int | None = None,
    fault: int | None = None,
    supplier: int | None = None,
    device: int | None = None,
    model: int | None = None,
    revision: str = "",
) -> list[Suspect]:
    """Return the suspects that matter for a record, given by its id.

    A `job` and a `fault` are asked for deliveries: of the parts that their fixes
    usually take, and of those that the job took. A `device`, or a `model` with a board
    revision, is asked for itself.
    """
    if device:
        found = Device.objects.filter(pk=device).values_list("model", "board_revision")
        model, revision = found.first() or (None, "")
    asked = Q(pk=None)
    if part:
        asked |= Q(part=part)
    if supplier:
        asked |= Q(supplier=supplier)
    if fault:
        asked |= _usual(Q(part__usual_in__fix__faults=fault))
    if job:
        asked |= _usual(Q(part__usual_in__fix__faults__repairs__job=job))
        asked |= Q(used_in__repair__job=job)
    deliveries = {}
    if part or fault or job or supplier:
        rows = Delivery.objects.filter(asked).select_related("part")
        deliveries = {delivery.pk: delivery for delivery in rows}
    if not deliveries and model is None:
        return []
    scope = Scope(as_of=timezone.localdate(), within=shop.comeback_period_days)
    known = groups(scope, shop=shop)
    found = warnings(known, deliveries=deliveries, model=model, revision=revision)
    return [
        Suspect(one, deliveries[one.key] if one.kind == DELIVERY else None)
        for one in found
    ]


def _usual(parts: Q) -> Q:
    """Deliveries of these parts of which something is left, or set aside."""
    in_use = Q(part__usual_in__fix__is_retired=False)
    return parts & in_use & (Q(remaining__gt=0) | Q(blocked_quantity__gt=0))
