"""What is printed on parts, read as values: `4k7` is 4700 Ω, however it is written.

Letters in place of the decimal point, three- and four-figure codes and tolerance
letters are those of IEC 60062; the series of preferred numbers those of IEC 60063.
Packages are named in hundredths of an inch (`0402`) or tenths of a millimetre (`1005`).
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
# A capacitor's marking says `100n`, a resistor's `4k7`: the prefix tells what is meant.
UNIT_ALIASES = {
    "p": FARAD,
    "n": FARAD,
    "u": FARAD,
    "m": OHM,
    "k": OHM,
    "M": OHM,
    "G": OHM,
}

TOLERANCES = {"B": "0.1", "C": "0.25", "D": "0.5", "F": "1"} | {
    "G": "2",
    "J": "5",
    "K": "10",
    "M": "20",
}
DIELECTRICS = ("Z5U", "Y5V", "X5R", "X6S", "X7S", "X7R", "X8R", "C0G")  # steadier last
SAME_DIELECTRIC = {"NP0": "C0G", "NPO": "C0G", "COG": "C0G"}

METRIC = {
    "01005": "0402",
    "0201": "0603",
    "0402": "1005",
    "0603": "1608",
    "0805": "2012",
    "1206": "3216",
    "1210": "3225",
    "1806": "4516",
    "1812": "4532",
    "2010": "5025",
    "2512": "6332",
}
INCH = {metric: inch for inch, metric in METRIC.items()}
NAMED = re.compile(
    r"(SOT|SOD|SOIC|SOP|SSOP|TSSOP|MSOP|QFN|DFN|QFP|LQFP|TQFP|BGA|WLCSP|TO|DIP)-?([0-9]+\w*)",
    re.IGNORECASE,
)

E24 = tuple(
    int(figure)
    for figure in (
        "10 11 12 13 15 16 18 20 22 24 27 30 33 36 39 43 47 51 56 62 68 75 82 91"
    ).split()
)
KINDS = {
    "resistor": OHM,
    "capacitor": FARAD,
    "inductor": HENRY,
    "coil": HENRY,
    "choke": HENRY,
}

Amount = tuple[str, Decimal]
"""A unit and how many of it."""


@dataclass(frozen=True)
class PartValue:
    """All that could be read; `amounts` has more than one where a code is ambiguous."""

    amounts: tuple[Amount, ...] = ()
    at: Decimal | None = None
    tolerance: Decimal | None = None
    ratings: tuple[Amount, ...] = ()
    dielectric: str = ""
    package: str = ""

    @property
    def amount(self) -> Amount | None:
        """The one value; None where nothing, or not one thing, is meant."""
        return self.amounts[0] if len(self.amounts) == 1 else None


def read(text: str, *, name: str = "") -> PartValue:
    """What `text` says. `name`, such as "resistor, thick film", settles bare codes."""
    kind = next(
        (KINDS[w] for w in re.findall(r"[a-z]+", name.lower()) if w in KINDS), ""
    )
    amounts: list[Amount] = []
    ratings: list[Amount] = []
    at = tolerance = None
    dielectric = package = ""
    for word in words_of(text):
        value, _, frequency = word.partition("@")
        found = _amounts(value, kind=kind)
        if share := re.fullmatch(r"(?:±|\+/?-)?([0-9]{1,3}(?:[.,][0-9]{1,3})?)%", word):
            tolerance = Decimal(share[1].replace(",", "."))
        elif _dielectric(word):
            dielectric = _dielectric(word)
        elif _package(word):
            package = _package(word)
        elif found and found[0][0] in (VOLT, AMPERE, WATT):
            ratings += found
        elif found and not amounts:
            amounts = found
            if frequency:
                at = next((n for u, n in _amounts(frequency) if u == HERTZ), None)
            if coded := re.fullmatch(r"[0-9]{3}([BCDFGJKM])", value):
                tolerance = tolerance or Decimal(TOLERANCES[coded[1]])
    return PartValue(tuple(amounts), at, tolerance, tuple(ratings), dielectric, package)


def words_of(text: str) -> list[str]:
    """The words of a marking, each number with its unit."""
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
    """What one word can mean as a number with a unit: nothing, one thing, several."""
    if fraction := re.fullmatch(r"1/([0-9]{1,3})W", word):
        return [(WATT, 1 / Decimal(fraction[1]))] if int(fraction[1]) else []
    if re.fullmatch(r"[0-9]{3,4}", word):
        return _coded(word, kind=kind)
    if coded := re.fullmatch(r"([0-9]{3})([BCDFGJKM])", word):
        as_code = (FARAD, _code(coded[1], Decimal("1e-12")))
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
    unit = r"(R|Ω|ohms?|F|H|Hz|V|A|W)?"
    if plain := re.fullmatch(
        r"([0-9]{1,9})(?:[.,]([0-9]{1,6}))?([pnumkMG]?)" + unit, word, re.ASCII
    ):
        whole, part, prefix, of = plain.groups()
        if not prefix and not of:
            return []
    elif split := re.fullmatch(r"([0-9]{0,6})([pnumkMGRVΩ])([0-9]{1,6})" + unit, word):
        whole, letter, part, of = split.groups()
        prefix = letter if letter in PREFIXES else ""
        of = of or ("" if prefix else letter)
        if not whole and prefix:
            return []
    else:
        return []
    meant = UNITS[of.lower()] if of else UNIT_ALIASES[prefix]
    if not of and kind == HENRY and prefix in "pnum":
        meant = HENRY
    number = Decimal(f"{whole or 0}.{part or 0}").scaleb(PREFIXES[prefix])
    return [(meant, number.normalize())]


def _code(figures: str, unit: Decimal) -> Decimal:
    """Figures and a power of ten; 8 and 9 stand for a hundredth and a tenth."""
    power = {8: -2, 9: -1}.get(int(figures[-1]), int(figures[-1]))
    return (Decimal(figures[:-1]).scaleb(power) * unit).normalize()


def _coded(figures: str, *, kind: str) -> list[Amount]:
    ohms = (OHM, Decimal(figures[:-1]).scaleb(int(figures[-1])).normalize())
    if len(figures) == 4:
        return [ohms] if kind in ("", OHM) else []
    farads = (FARAD, _code(figures, Decimal("1e-12")))
    henries = (HENRY, _code(figures, Decimal("1e-6")))
    found = {OHM: [ohms], FARAD: [farads], HENRY: [henries]}
    return found.get(kind, [farads, ohms])


def _dielectric(word: str) -> str:
    word = word.upper()
    word = SAME_DIELECTRIC.get(word, word)
    return word if word in DIELECTRICS else ""


def _package(word: str) -> str:
    """The package in its inch name; names that are metric only are turned."""
    if word.endswith("metric"):
        return INCH.get(word.removesuffix("metric"), "")
    if word in METRIC:
        return word
    if word in INCH:
        return INCH[word]
    named = NAMED.fullmatch(word)
    return f"{named[1]}-{named[2]}".upper() if named else ""


# --- comparing --------------------------------------------------------------------


def keys(value: PartValue) -> tuple[str, ...]:
    """Words that are the same for the same value, to be searched for."""
    return tuple(_keys(value))


def _keys(value: PartValue) -> Iterator[str]:
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
    """Why `candidate` can't stand in for `wanted`, as sentences; empty where it fits.

    Same kind and package, value within the tolerance asked for and no looser itself,
    every rating at least as high.
    """
    if candidate.amount is None or wanted.amount is None:
        return ["One of the two values can't be read."]
    (unit, number), (asked_unit, asked) = candidate.amount, wanted.amount
    if unit != asked_unit or (candidate.at is None) != (wanted.at is None):
        return ["It is another kind of part."]
    why = []
    if candidate.package != wanted.package:
        why.append("The package is another one.")
    allowed = asked * (wanted.tolerance or 0) / 100
    if abs(number - asked) > allowed or candidate.at != wanted.at:
        why.append(f"{shown(candidate)} is not {shown(wanted)}.")
    if wanted.tolerance is not None and (
        candidate.tolerance is None or candidate.tolerance > wanted.tolerance
    ):
        why.append(f"It is not within {wanted.tolerance:f} %.")
    has = dict(candidate.ratings)
    for rating, least in wanted.ratings:
        if has.get(rating, Decimal(0)) < least:
            why.append(f"It is not rated for {engineering(rating, least)}.")
    if wanted.dielectric and (
        _dielectric_rank(candidate.dielectric) < _dielectric_rank(wanted.dielectric)
    ):
        why.append(f"It is not as steady as {wanted.dielectric}.")
    return why


def _dielectric_rank(dielectric: str) -> int:
    return DIELECTRICS.index(dielectric) if dielectric in DIELECTRICS else -1


def series_of(number: Decimal) -> str:
    """The coarsest series of IEC 60063, E3 to E96, that has this value, or nothing."""
    if number <= 0:
        return ""
    figures = number.scaleb(2 - number.adjusted())
    if figures != figures.to_integral_value():
        return ""
    three = int(figures)
    for size in (3, 6, 12, 24):
        if three % 10 == 0 and three // 10 in E24[:: 24 // size]:
            return f"E{size}"
    for size in (48, 96):
        if three in {round(100 * 10 ** (step / size)) for step in range(size)}:
            return f"E{size}"
    return ""


# --- showing ----------------------------------------------------------------------


def engineering(unit: str, number: Decimal) -> str:
    """`4.7 kΩ`, `100 nF`: a prefix that leaves few figures before the point."""
    if not number:
        return f"0 {unit}"
    power = min(9, max(-12, 3 * (number.adjusted() // 3)))
    prefix = next(p for p, exponent in PREFIXES.items() if exponent == power)
    figures = number.scaleb(-power).normalize()
    return f"{figures:f} {'µ' if prefix == 'u' else prefix}{unit}"


def shown(value: PartValue) -> str:
    """All that was read, in one way of writing, so that a slip is seen."""
    said = [" or ".join(engineering(*amount) for amount in value.amounts)]
    if value.at:
        said[0] += f" at {engineering(HERTZ, value.at)}"
    if value.tolerance is not None:
        said.append(f"±{value.tolerance.normalize():f} %")
    said += [engineering(*rating) for rating in value.ratings]
    said.append(value.dielectric)
    if value.package:
        metric = METRIC.get(value.package)
        said.append(f"{value.package} ({metric} metric)" if metric else value.package)
    return ", ".join(filter(None, said))
