"""Component values parsed from their markings: `4k7` is 4700 Ω in any notation.

Letters in place of the decimal point, three- and four-digit codes and tolerance letters
follow IEC 60062, the series of preferred numbers IEC 60063. Packages are named in
hundredths of an inch (`0402`) or tenths of a millimetre (`1005`).
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

OHM, FARAD, HENRY, HERTZ = "Ω", "F", "H", "Hz"
VOLT, AMPERE, WATT = "V", "A", "W"

PREFIXES = {"p": -12, "n": -9, "u": -6, "m": -3, "": 0, "k": 3, "M": 6, "G": 9}
UNITS = {"r": OHM, "ohm": OHM, "ohms": OHM, "ω": OHM} | {
    unit.lower(): unit for unit in (FARAD, HENRY, HERTZ, VOLT, AMPERE, WATT)
}
# A capacitor is marked `100n`, a resistor `4k7`: the prefix implies the unit.
UNIT_ALIASES = dict.fromkeys("pnu", FARAD) | dict.fromkeys("mkMG", OHM)
# A code of three digits counts picofarads, microhenries or ohms.
CODE_POWERS = {FARAD: -12, HENRY: -6, OHM: 0}

# In percent.
TOLERANCES = dict(zip("BCDFGJKM", "0.1 0.25 0.5 1 2 5 10 20".split(), strict=True))
# Unknown first, most stable last.
DIELECTRICS = ("", "Z5U", "Y5V", "X5R", "X6S", "X7S", "X7R", "X8R", "C0G")
SAME_DIELECTRIC = {"NP0": "C0G", "NPO": "C0G", "COG": "C0G"}

METRIC = dict(
    zip(
        "01005 0201 0402 0603 0805 1206 1210 1806 1812 2010 2512".split(),
        "0402  0603 1005 1608 2012 3216 3225 4516 4532 5025 6332".split(),
        strict=True,
    )
)
INCH = {metric: inch for inch, metric in METRIC.items()}
NAMED_PACKAGE = re.compile(
    r"(SOT|SOD|SOIC|SOP|SSOP|TSSOP|MSOP|QFN|DFN|QFP|LQFP|TQFP|BGA|WLCSP|TO|DIP)-?([0-9]+\w*)",
    re.IGNORECASE,
)

E24 = tuple(
    int(digits)
    for digits in (
        "10 11 12 13 15 16 18 20 22 24 27 30 33 36 39 43 47 51 56 62 68 75 82 91"
    ).split()
)
KINDS = {"resistor": OHM, "capacitor": FARAD, "inductor": HENRY}
KINDS |= {"coil": HENRY, "choke": HENRY}

Amount = tuple[str, Decimal]
"""A unit and a number of it."""


@dataclass(frozen=True)
class PartValue:
    """All that was parsed; `amounts` has more than one if a code is ambiguous."""

    amounts: tuple[Amount, ...] = ()
    at: Decimal | None = None
    tolerance: Decimal | None = None
    ratings: tuple[Amount, ...] = ()
    dielectric: str = ""
    package: str = ""

    @property
    def amount(self) -> Amount | None:
        """The value; None if there is none or it is ambiguous."""
        return self.amounts[0] if len(self.amounts) == 1 else None


def parse_value(text: str, *, name: str = "") -> PartValue:
    """Parse `text`; `name`, such as "resistor, thick film", decides bare codes."""
    words = re.findall(r"[a-z]+", name.lower())
    kind = next((KINDS[word] for word in words if word in KINDS), "")
    amounts: list[Amount] = []
    ratings: list[Amount] = []
    at = tolerance = None
    dielectric = package = ""
    for word in split_words(text):
        value, _, frequency = word.partition("@")
        parsed = _amounts(value, kind=kind)
        if share := re.fullmatch(r"(?:±|\+/?-)?([0-9]{1,3}(?:[.,][0-9]{1,3})?)%", word):
            tolerance = Decimal(share[1].replace(",", "."))
        elif _dielectric(word):
            dielectric = _dielectric(word)
        elif _package(word):
            package = _package(word)
        elif parsed and parsed[0][0] in (VOLT, AMPERE, WATT):
            ratings += parsed
        elif parsed and not amounts:
            amounts = parsed
            if frequency:
                at = next((n for u, n in _amounts(frequency) if u == HERTZ), None)
            if coded := re.fullmatch(r"[0-9]{3}([BCDFGJKM])", value):
                tolerance = tolerance or Decimal(TOLERANCES[coded[1]])
    return PartValue(tuple(amounts), at, tolerance, tuple(ratings), dielectric, package)


def split_words(text: str) -> list[str]:
    """Return the words of a marking, each number with its unit."""
    text = text.replace("µ", "u").replace("μ", "u").replace("\u2126", "Ω")
    text = re.sub(r"\s*@\s*", "@", text)
    text = re.sub(
        r"(?<=[0-9])\s+(?=(?:[pnumkMG]?(?:Ω|ohms?|F|H|Hz|V|A|W)|%)(?:\W|$))", "", text
    )
    text = re.sub(
        r"(?<![\w.,])([0-9]{4,5})\s*(?:metric|M)(?=\s|,|$)", r"\1metric", text
    )
    return [word.strip(",;()") for word in text.split()]


def _amounts(word: str, *, kind: str = "") -> list[Amount]:
    """Return all amounts that one word can mean: none, one or several."""
    if fraction := re.fullmatch(r"1/([1-9][0-9]{0,2})W", word):
        return [(WATT, 1 / Decimal(fraction[1]))]
    if re.fullmatch(r"[0-9]{3,4}", word):
        units = [kind] if kind else [FARAD, OHM]
        return [_code(word, unit) for unit in units if unit == OHM or len(word) == 3]
    if coded := re.fullmatch(r"([0-9]{3})([BCDFGJKM])", word):
        as_code = _code(coded[1], FARAD)
        if kind == FARAD or coded[2] not in "FKM":
            return [as_code]
        if not kind and coded[2] != "F":
            return [as_code, *_written(word)]
    return _written(word, kind=kind)


def _written(word: str, *, kind: str = "") -> list[Amount]:
    """`4.7k`, `4k7`, `R47`, `100nF`, `6V3`."""
    if re.fullmatch(r"[0-9]+(?:[.,][0-9]+)?[UNP]F?|[0-9]+[UNP][0-9]+", word):
        word = word.translate(str.maketrans("UNP", "unp"))
    word = re.sub(r"(?<=[0-9])K", "k", word)
    units = r"(R|Ω|ohms?|F|H|Hz|V|A|W)?"
    if plain := re.fullmatch(
        r"([0-9]{1,9})(?:[.,]([0-9]{1,6}))?([pnumkMG]?)" + units, word, re.ASCII
    ):
        whole, part, prefix, unit = plain.groups()
        if not prefix and not unit:
            return []
    elif split := re.fullmatch(r"([0-9]{0,6})([pnumkMGRVΩ])([0-9]{1,6})" + units, word):
        whole, letter, part, unit = split.groups()
        prefix = letter if letter in PREFIXES else ""
        unit = unit or ("" if prefix else letter)
        if not whole and prefix:
            return []
    else:
        return []
    implied = (
        HENRY if kind == HENRY and prefix in "pnum" else UNIT_ALIASES.get(prefix, "")
    )
    number = Decimal(f"{whole or 0}.{part or 0}").scaleb(PREFIXES[prefix])
    return [(UNITS[unit.lower()] if unit else implied, number.normalize())]


def _code(digits: str, unit: str) -> Amount:
    """Decode digits and a power of ten.

    Except for ohms, 8 and 9 mean a hundredth and a tenth.
    """
    power = int(digits[-1])
    if unit != OHM and power >= 8:
        power -= 10
    return unit, Decimal(digits[:-1]).scaleb(power + CODE_POWERS[unit]).normalize()


def _dielectric(word: str) -> str:
    word = word.upper()
    word = SAME_DIELECTRIC.get(word, word)
    return word if word in DIELECTRICS else ""


def _package(word: str) -> str:
    """Return the package by its inch name; metric names are converted."""
    if word in METRIC:
        return word
    if inch := INCH.get(word.removesuffix("metric")):
        return inch
    name = NAMED_PACKAGE.fullmatch(word)
    return f"{name[1]}-{name[2]}".upper() if name else ""


# --- comparing --------------------------------------------------------------------


def search_keys(value: PartValue) -> Iterator[str]:
    """Give words that are equal for equal values, to search for; the value first."""
    at = f"@{value.at.normalize():e}" if value.at else ""
    for unit, number in value.amounts:
        yield f"={unit.lower()}{number.normalize():e}{at};"
    for unit, number in value.ratings:
        yield f"={unit.lower()}{number.normalize():e};"
    if value.tolerance is not None:
        yield f"={value.tolerance.normalize():f}%;"
    for word in (value.dielectric, value.package):
        if word:
            yield f"={word.lower()};"


def substitute_problems(candidate: PartValue, *, wanted: PartValue) -> list[str]:
    """Return why `candidate` cannot replace `wanted`; empty if it can.

    It needs the same unit and package, a value within the wanted tolerance and none
    wider itself, and every rating at least as high.
    """
    if candidate.amount is None or wanted.amount is None:
        return ["One of the two values cannot be interpreted."]
    (unit, number), (wanted_unit, wanted_number) = candidate.amount, wanted.amount
    if unit != wanted_unit or (candidate.at is None) != (wanted.at is None):
        return ["Different kind of part."]
    problems = []
    if candidate.package != wanted.package:
        problems.append("Different package.")
    allowed = wanted_number * (wanted.tolerance or 0) / 100
    if abs(number - wanted_number) > allowed or candidate.at != wanted.at:
        problems.append(f"{format_value(candidate)} instead of {format_value(wanted)}.")
    if wanted.tolerance is not None and (
        candidate.tolerance is None or candidate.tolerance > wanted.tolerance
    ):
        problems.append(f"Tolerance is not within ±{wanted.tolerance:f} %.")
    ratings = dict(candidate.ratings)
    for unit, min_rating in wanted.ratings:
        if ratings.get(unit, Decimal(0)) < min_rating:
            problems.append(f"Not rated for {format_amount(unit, min_rating)}.")
    rank = DIELECTRICS.index
    if rank(candidate.dielectric) < rank(wanted.dielectric):
        problems.append(f"Dielectric is less stable than {wanted.dielectric}.")
    return problems


def find_series(number: Decimal) -> str:
    """Return the coarsest series of IEC 60063, E3 to E96, with this value, or ""."""
    if number <= 0:
        return ""
    digits = number.scaleb(2 - number.adjusted())
    if digits != digits.to_integral_value():
        return ""
    three = int(digits)
    for size in (3, 6, 12, 24):
        if three % 10 == 0 and three // 10 in E24[:: 24 // size]:
            return f"E{size}"
    for size in (48, 96):
        if three in {round(100 * 10 ** (step / size)) for step in range(size)}:
            return f"E{size}"
    return ""


# --- showing ----------------------------------------------------------------------


def format_amount(unit: str, number: Decimal) -> str:
    """Format as `4.7 kΩ`, `100 nF`: one to three digits before the point."""
    if not number:
        return f"0 {unit}"
    power = min(9, max(-12, 3 * (number.adjusted() // 3)))
    prefix = next(p for p, exponent in PREFIXES.items() if exponent == power)
    digits = number.scaleb(-power).normalize()
    return f"{digits:f} {'µ' if prefix == 'u' else prefix}{unit}"


def format_value(value: PartValue) -> str:
    """Format all that was parsed in one notation, so that a typing error shows."""
    texts = [" or ".join(format_amount(*amount) for amount in value.amounts)]
    if value.at:
        texts[0] += f" at {format_amount(HERTZ, value.at)}"
    if value.tolerance is not None:
        texts.append(f"±{value.tolerance.normalize():f} %")
    texts += [format_amount(*rating) for rating in value.ratings]
    texts.append(value.dielectric)
    if value.package:
        metric = METRIC.get(value.package)
        texts.append(f"{value.package} ({metric} metric)" if metric else value.package)
    return ", ".join(filter(None, texts))
