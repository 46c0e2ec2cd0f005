"""What the API answers about each kind of record.

“costs” is null for a token that may not see costs, “personal” for one without personal
data: what it holds is what `billing/personal_data/inventory.py` calls personal.
"""

from datetime import date, datetime
from decimal import Decimal

from ninja import Field, Schema

from shopdesk.shop.currencies import places

COSTS = "Null for a token without costs."
PERSONAL = "Null for a token without personal data."


class Problem(Schema):
    detail: str = Field(description="What is wrong, as a sentence.")


class Money(Schema):
    amount: str = Field(
        description="A decimal number, never rounded.", pattern=r"^-?\d+(\.\d+)?$"
    )
    currency: str = Field(description="ISO 4217.")


def money(amount: Decimal | None, currency: str) -> dict | None:
    """Return an amount with its currency; at least the decimals that it has."""
    if amount is None:
        return None
    decimals = -amount.normalize().as_tuple().exponent
    text = f"{amount:.{max(decimals, places(currency))}f}"
    return {"amount": text, "currency": currency}


class DeviceAnswer(Schema):
    id: int
    kind: str
    maker: str
    model: str
    board_revision: str


class JobPersonal(Schema):
    customer_id: int
    customer: str
    serial: str
    complaint: str
    occurs_when: str
    condition: str
    accessories: str
    bench_notes: str
    waiting_note: str
    place: str = Field(description="Where the device is stored.")


class JobAnswer(Schema):
    id: int
    number: str
    status: str
    outcome: str = Field(description="Empty until it is closed.")
    device: DeviceAnswer
    symptoms: list[str]
    booked_in_on: date
    due_on: date | None
    handed_over_on: date | None
    waiting_for: str
    waiting_since: date | None
    came_by: str
    has_swollen_battery: bool
    has_liquid_damage: bool
    has_mains_voltage: bool
    agreed_diagnosis_fee: Money | None
    is_from_history: bool = Field(description="It was imported.")
    personal: JobPersonal | None = Field(description=PERSONAL)


class CodeAndName(Schema):
    code: str
    name: str


class PartCount(Schema):
    number: str
    quantity: int


class RepairCosts(Schema):
    cost: Money | None = Field(description="Known once it is handed over.")
    comeback_allowance: Money | None


class RepairPersonal(Schema):
    technician: str
    cause: str
    recurs_if: str = Field(description="What would bring the fault back.")
    customer_note: str
    note: str


class RepairAnswer(Schema):
    id: int
    job: str = Field(description="The number of its job.")
    fault: CodeAndName
    fix: CodeAndName | None
    type: str = Field(description="“lasting”, “stopgap”, or empty.")
    outcome: str = Field(description="Empty until it is closed.")
    minutes: int
    parts: list[PartCount]
    charged: Money | None
    handed_over_on: date | None
    warranty_days: int | None
    warranty_until: date | None
    came_back_on: list[date] = Field(
        description="The days on which the device came back with the same fault."
    )
    costs: RepairCosts | None = Field(description=COSTS)
    personal: RepairPersonal | None = Field(description=PERSONAL)


class PairCosts(Schema):
    mean_rework_cost: Money
    comeback_allowance: Money


class PairAnswer(Schema):
    fault: CodeAndName
    fix: CodeAndName
    type: str = Field(description="As recorded most often when repairs were closed.")
    repairs: int
    followed_up: int
    comebacks: int
    expected_comebacks: float
    risk: float = Field(description="Comeback risk within the period, 0 to 1.")
    risk_low: float = Field(description="Of the 90 % range.")
    risk_high: float
    own_risk: float | None = Field(description="Kaplan–Meier, of this pair alone.")
    own_low: float | None
    own_high: float | None
    probability_above_limit: float
    verdict: str
    costs: PairCosts | None = Field(description=COSTS)


class ComebackTableAnswer(Schema):
    as_of: date
    within: int = Field(description="The comeback period in days.")
    limit: float = Field(description="The highest risk that the shop accepts.")
    items: list[PairAnswer]
    notes: list[str] = Field(description="What must be shown with the table.")


class PartCosts(Schema):
    unit_cost: Money | None = Field(
        description="Of the delivery used next, else of the last one."
    )


class PartAnswer(Schema):
    id: int
    number: str
    name: str
    value: str
    maker_number: str
    supplier_number: str
    supplier: str
    bin: str
    in_stock: int
    reserved: int
    free: int = Field(description="In stock less reserved; negative if too few.")
    reorder_level: int | None = Field(description="Null: calculated from use.")
    lead_days: int | None
    fixed_price: Money | None = Field(description="Null: cost plus the markup.")
    is_retired: bool
    costs: PartCosts | None = Field(description=COSTS)


class InvoicePersonal(Schema):
    customer_id: int
    buyer_name: str
    buyer_address: str
    buyer_tax_id: str
    text: str


class InvoiceAnswer(Schema):
    id: int
    kind: str = Field(description="“invoice” or “credit”, a credit note.")
    number: str
    credits: str | None = Field(description="The invoice that a credit note credits.")
    job: str = Field(description="The number of its job.")
    issued_on: date
    supplied_on: date
    due_on: date | None
    buyer_country: str
    net: Money
    tax: Money
    gross: Money
    balance_due: Money = Field(description="Now; negative if a refund is due.")
    status: str
    personal: InvoicePersonal | None = Field(description=PERSONAL)


class PaymentPersonal(Schema):
    text: str = Field(description="What it was for.")


class PaymentAnswer(Schema):
    id: int
    job: str = Field(description="The number of its job.")
    invoice: str | None = Field(description="Null: a deposit.")
    receipt: str | None
    amount: Money = Field(description="Negative for a refund.")
    rounding: Money = Field(description="Cash rounding.")
    method: str = Field(
        description=(
            "“cash”, “card”, “transfer”; “moved” from a deposit or another invoice,"
            " “waived” for a reminder fee: no money."
        )
    )
    paid_on: date
    booked_on: date = Field(description="The day of the till.")
    personal: PaymentPersonal | None = Field(description=PERSONAL)


class CustomerAnswer(Schema):
    id: int
    name: str
    company: str
    email: str
    phone: str = Field(description="E.164.")
    address: str
    country: str = Field(description="ISO 3166, or empty for that of the shop.")
    tax_id: str
    preferred_contact: str
    notes: str
    created_at: datetime
    erased_on: date | None


class FaultAnswer(Schema):
    id: int
    code: str
    name: str
    area: str
    part: str
    mode: str
    cause: str
    kinds: str = Field(description="Kinds of device.")
    hazard: str
    symptoms: list[str]
    checks: list[str]
    misled: str = Field(description="What misled the bench.")
    notes: str
    is_retired: bool


class FixAnswer(Schema):
    id: int
    code: str
    name: str
    type: str = Field(description="“lasting” or “stopgap”.")
    faults: list[str] = Field(description="The codes of the faults it is used for.")
    usual_parts: list[PartCount]
    minutes: int
    warranty_days: int | None = Field(description="Null: shop default.")
    hazard: str
    notes: str
    is_retired: bool
