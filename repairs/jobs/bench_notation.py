"""Readings and expected values in the notation of the bench.

`4k7` is 4.7 kΩ, `3v3` is 3.3 V, `OL` is an open circuit, `>1M` is more than the meter's
range, `90R@100MHz` an impedance at a frequency, `0.45 V diode` a drop in diode mode.
Letters in place of the decimal point follow IEC 60062, prefixes follow the SI: `1m2` is
1.2 mΩ, `1M2` is 1.2 MΩ. Amounts are in the unit without a prefix.
"""

import re
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import NamedTuple

from repairs.stock.part_values import HERTZ, OHM, PREFIXES, UNITS, VOLT
from shopdesk.money import LIMIT, UNIT

# A meter shows 0.45 V and 0.02 Ω, and not thousandths.
MIN_WITHOUT_MILLI = {OHM: Decimal("0.01"), VOLT: Decimal("0.1")}
SECOND, CELSIUS, PERCENT = "s", "°C", "%"
# Units in which a prefix is usual; a number with any other is kept as it is.
SCALED = {*UNITS.values(), SECOND}
SPELLED = UNITS | {"s": SECOND, "°c": CELSIUS, "degc": CELSIUS, "%": PERCENT}
IMPLIED = dict.fromkeys("pnu", "F") | dict.fromkeys("mkMG", OHM)

EXACT, ABOVE, BELOW, OPEN = "", ">", "<", "OL"
RELATIONS = {EXACT: "exact", ABOVE: "above", BELOW: "below", OPEN: "open circuit"}

MAX_DIGITS = 12
LARGEST = Decimal("1e12")

NUMBER = r"(?:[0-9]{1,12}(?:[.,][0-9]{1,12})?)"
SYMBOL = r"(?:ohms?|Hz|hz|degC|°C|[RrΩωFfHhVvAaWws%])"
PLAIN = re.compile(rf"([-+]?)({NUMBER})\s*([pnumkKMG]?)({SYMBOL}?)", re.ASCII)
DIODE = re.compile(r"\s*diode$", re.IGNORECASE)
LETTER = re.compile(
    r"([-+]?)([0-9]{0,6})([pnumkKMGRrΩVvAaFfHhWw])([0-9]{1,6})(ohms?|Hz|[RrΩFHVvAW]?)"
)


class NotationError(ValueError):
    """A text that is no reading; its message is for the screen."""


@dataclass(frozen=True)
class Measured:
    """One reading; `amount` is 0 for an open circuit."""

    amount: Decimal = Decimal(0)
    unit: str = ""
    relation: str = EXACT
    at_hertz: Decimal | None = None
    is_diode: bool = False

    @property
    def kind(self) -> tuple[str, Decimal | None, bool]:
        """What has to be equal before two readings can be compared."""
        return self.unit, self.at_hertz, self.is_diode


@dataclass(frozen=True)
class Expected:
    """The limits of a reading; none at all if nothing is expected."""

    low: Decimal | None = None
    high: Decimal | None = None
    unit: str = ""
    is_open: bool = False


NOTHING = Expected()


def parse_reading(text: str, *, unit: str = "") -> Measured:
    """Parse a reading; a bare number is in `unit`.

    Raises: NotationError.
    """
    text = _normalize(text)
    if text.upper() in ("OL", "O.L", "O.L.", "0L", "OPEN", "∞"):
        return Measured(unit=unit, relation=OPEN)
    relation = EXACT
    if text[:1] in (ABOVE, BELOW):
        relation, text = text[0], text[1:].strip()
    value, found, frequency = text.partition("@")
    value = value.strip()
    diode = DIODE.search(value)
    value = DIODE.sub("", value)
    amount, own = _amount(value)
    own = own or (VOLT if diode else unit)
    if diode and own != VOLT:
        raise NotationError(
            "A reading in diode mode is in volts, such as 0.45 V diode."
        )
    return Measured(
        amount,
        own,
        relation,
        _frequency(frequency) if found else None,
        is_diode=diode is not None,
    )


def parse_expected(text: str, *, unit: str = "") -> Expected:
    """Parse `3v3 ±5%`, `19.2–19.6 V`, `<0.5R`, `>1M`, `OL`, `5 V`, or `none`.

    A bare number is in `unit`. Raises: NotationError.
    """
    text = _normalize(text)
    if text.lower() in ("", "-", "none"):
        return NOTHING
    if text.upper() in ("OL", "OPEN", "∞"):
        return Expected(unit=unit, is_open=True)
    if text[:1] in (ABOVE, BELOW):
        amount, own = _amount(text[1:].strip())
        own = own or unit
        if text[0] == ABOVE:
            return Expected(low=amount, unit=own)
        return Expected(high=amount, unit=own)
    text = DIODE.sub("", text)
    nominal, found, tolerance = text.partition("±")
    if found:
        return _with_tolerance(nominal.strip(), tolerance.strip(), unit=unit)
    ends = re.fullmatch(r"(.+?)\s*(?:–|\.\.\.?|…|\bto\b|(?<=[\w%°])\s*-)\s*(.+)", text)
    if ends:
        return _between(ends[1].strip(), ends[2].strip(), unit=unit)
    amount, own = _amount(text)
    return Expected(amount, amount, own or unit)


def _with_tolerance(nominal: str, tolerance: str, *, unit: str) -> Expected:
    amount, own = _amount(nominal)
    own = own or unit
    if share := re.fullmatch(rf"({NUMBER})\s*%", tolerance):
        percent = Decimal(share[1].replace(",", "."))
        if not 0 < percent <= 100:
            raise NotationError(
                f"A tolerance of {percent:f} % is impossible. Enter more than 0 and at"
                " most 100 %."
            )
        margin = abs(amount) * percent / 100
    else:
        margin, margin_unit = _amount(tolerance)
        if margin_unit and margin_unit != own:
            raise NotationError(
                f"The tolerance is in {margin_unit}, the value in {own or 'no unit'}."
            )
        if margin <= 0:
            raise NotationError("Enter a tolerance above 0, such as ±5% or ±0.1V.")
    return Expected(amount - margin, amount + margin, own)


def _between(first: str, last: str, *, unit: str) -> Expected:
    """`3.2–3.4 V`: a unit or prefix that stands once counts for both ends."""
    if re.fullmatch(rf"-?{NUMBER}", first):
        scale = re.search(rf"[pnumkKMG]?{SYMBOL}?$", last)
        first += scale[0] if scale else ""
    (low, low_unit), (high, high_unit) = _amount(first), _amount(last)
    low_unit, high_unit = low_unit or high_unit, high_unit or low_unit
    if low_unit != high_unit:
        raise NotationError(f"The limits have two units: {low_unit} and {high_unit}.")
    if low > high:
        raise NotationError("Enter the lower limit first.")
    return Expected(low, high, low_unit or unit)


def _normalize(text: str) -> str:
    text = " ".join(text.split())
    for before, after in {
        "µ": "u",
        "μ": "u",
        "\u2126": OHM,
        "≥": ABOVE,
        "≤": BELOW,
        "−": "-",
        "+/-": "±",
        "+-": "±",
        "—": "–",
    }.items():
        text = text.replace(before, after)
    return text


def _amount(text: str) -> tuple[Decimal, str]:
    """Return the amount, in the unit without a prefix, and the unit, if any."""
    if plain := PLAIN.fullmatch(text):
        sign, digits, prefix, written = plain.groups()
        number = Decimal(digits.replace(",", "."))
    elif split := LETTER.fullmatch(text):
        sign, whole, letter, part, written = split.groups()
        prefix = letter if letter in PREFIXES or letter == "K" else ""
        written = written or ("" if prefix else letter)
        if not whole and prefix:
            raise _unknown(text)
        number = Decimal(f"{whole or 0}.{part}")
    else:
        raise _unknown(text)
    prefix = "k" if prefix == "K" else prefix
    unit = SPELLED[written.lower()] if written else IMPLIED.get(prefix, "")
    if prefix and unit not in SCALED:
        raise _unknown(text)
    amount = number.scaleb(PREFIXES[prefix])
    if len(number.normalize().as_tuple().digits) > MAX_DIGITS or amount > LARGEST:
        raise NotationError(f"Enter at most {MAX_DIGITS} digits and at most 10¹².")
    return (-amount if sign == "-" and amount else amount), unit


def _unknown(text: str) -> NotationError:
    return NotationError(
        f"“{text}” is no reading. Enter a value such as 4.98V, 4k7, 0.45 V diode, >1M"
        " or OL."
    )


def _frequency(text: str) -> Decimal:
    amount, unit = _amount(text.strip())
    if unit not in (HERTZ, "") or amount <= 0:
        raise NotationError("Enter a frequency after @, such as 90R@100MHz.")
    return amount


# --- judging ----------------------------------------------------------------------


def passes(measured: Measured, expected: Expected) -> bool | None:
    """Whether the reading is as expected; None if that cannot be told.

    An open circuit is above every limit. `>1M` tells nothing where at least 2 MΩ is
    expected.
    """
    low, high = expected.low, expected.high
    if expected.is_open:
        return measured.relation == OPEN
    if low is None and high is None:
        return None
    if measured.relation == OPEN:
        return high is None
    amount = measured.amount
    if measured.relation == ABOVE:
        if high is not None:
            return False if amount >= high else None
        return True if low is not None and amount >= low else None
    if measured.relation == BELOW:
        if low is not None:
            return False if amount <= low else None
        return True if high is not None and amount <= high else None
    return (low is None or amount >= low) and (high is None or amount <= high)


def with_unit_of(expected: Expected, measured: Measured) -> Expected:
    """Return `expected` in the unit of the reading.

    Raises: NotationError if they have different units.
    """
    if expected == NOTHING:
        return expected
    if measured.relation != OPEN and expected.unit and expected.unit != measured.unit:
        raise NotationError(
            f"The expected value is in {expected.unit}, the reading in"
            f" {measured.unit or 'no unit'}. Enter both in the same unit."
        )
    return replace(expected, unit=measured.unit or expected.unit)


# --- as a row of the database stores it ---------------------------------------------


class Stored(NamedTuple):
    """Amounts with four decimals in one unit, which may have a prefix: 4.7 kΩ."""

    value: Decimal
    unit: str
    low: Decimal | None
    high: Decimal | None


def to_stored(measured: Measured, expected: Expected) -> Stored:
    """Return the amounts in one unit, of which four decimals hold them all.

    Raises: NotationError if there is none.
    """
    unit = measured.unit or expected.unit
    powers = sorted({*PREFIXES.values()} if unit in SCALED else {0}, reverse=True)
    usual = _power(measured.amount, unit)
    for power in [usual, *(other for other in powers if other < usual)]:
        scale = Decimal(1).scaleb(-power)
        value = measured.amount * scale
        low = None if expected.low is None else expected.low * scale
        high = None if expected.high is None else expected.high * scale
        if all(_is_storable(amount) for amount in (value, low, high)):
            return Stored(value, _prefix(power) + unit, low, high)
    raise NotationError("Enter fewer digits.")


def _is_storable(amount: Decimal | None) -> bool:
    return amount is None or (
        abs(amount) <= LIMIT and amount == amount.quantize(Decimal(1) / UNIT)
    )


def from_stored(
    stored: Stored, *, relation: str, at_hertz: Decimal | None, is_diode: bool
) -> Measured:
    """Return the reading of a row; a unit that is none of ours is kept as it is."""
    power, unit = _split_unit(stored.unit)
    return Measured(stored.value.scaleb(power), unit, relation, at_hertz, is_diode)


def expected_from_stored(stored: Stored, *, is_open: bool) -> Expected:
    """Return the limits of a row."""
    power, unit = _split_unit(stored.unit)
    low, high = (
        None if amount is None else amount.scaleb(power)
        for amount in (stored.low, stored.high)
    )
    return Expected(low, high, unit, is_open)


def _split_unit(text: str) -> tuple[int, str]:
    """Return the power of ten of the prefix, and the unit."""
    written = text.replace("µ", "u").replace("μ", "u").replace("\u2126", OHM)
    if len(written) > 1 and written[0] in PREFIXES and written[1:] in SCALED:
        return PREFIXES[written[0]], written[1:]
    return 0, text


# --- showing ----------------------------------------------------------------------


def format_reading(measured: Measured) -> str:
    """Format as `4.7 kΩ`, `>1 MΩ`, `OL`, `90 Ω @ 100 MHz`, `0.45 V diode`."""
    if measured.relation == OPEN:
        return OPEN
    text = measured.relation + _text(measured.amount, measured.unit)
    if measured.is_diode:
        text += " diode"
    if measured.at_hertz is not None:
        text += f" @ {_text(measured.at_hertz, HERTZ)}"
    return text


def format_expected(expected: Expected) -> str:
    """Format as `3.135 V to 3.465 V`, `>1 MΩ`, `OL`, or nothing."""
    low, high, unit = expected.low, expected.high, expected.unit
    if expected.is_open:
        return OPEN
    if low is None:
        return "" if high is None else BELOW + _text(high, unit)
    if high is None:
        return ABOVE + _text(low, unit)
    if low == high:
        return _text(low, unit)
    return f"{_text(low, unit)} to {_text(high, unit)}"


def _text(amount: Decimal, unit: str) -> str:
    power = _power(amount, unit)
    return f"{amount.scaleb(-power).normalize():f} {_prefix(power)}{unit}".strip()


def _power(amount: Decimal, unit: str) -> int:
    """Return the power of ten of the prefix that the bench would use."""
    if not amount or unit not in SCALED:
        return 0
    if MIN_WITHOUT_MILLI.get(unit, 1) <= abs(amount) < 1:
        return 0
    return min(9, max(-12, 3 * (amount.adjusted() // 3)))


def _prefix(power: int) -> str:
    prefix = next(p for p, exponent in PREFIXES.items() if exponent == power)
    return "µ" if prefix == "u" else prefix
