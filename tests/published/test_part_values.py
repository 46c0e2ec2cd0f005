"""Part values against the codes of IEC 60062 and the series of IEC 60063.

The rules and the example markings are from memory [M]: no copy of either standard was
at hand. The series are checked by their law, 10 to the power of n/E, and by counts.
"""

from decimal import Decimal

import pytest

from repairs.stock.part_values import (
    E24,
    FARAD,
    HENRY,
    HERTZ,
    INCH,
    METRIC,
    OHM,
    PartValue,
    find_series,
    format_amount,
    format_value,
    parse_value,
    search_keys,
    substitute_problems,
)

D = Decimal


def keys(text):
    return tuple(search_keys(parse_value(text)))


@pytest.mark.parametrize(
    ("marking", "unit", "number"),
    [
        # IEC 60062: the letter stands where the point would.
        ("R10", OHM, "0.1"),
        ("1R0", OHM, "1"),
        ("4R7", OHM, "4.7"),
        ("47R", OHM, "47"),
        ("4K7", OHM, "4700"),
        ("4k7", OHM, "4700"),
        ("4700R", OHM, "4700"),
        ("4.7k", OHM, "4700"),
        ("4,7 kΩ", OHM, "4700"),
        ("4.7 kohm", OHM, "4700"),
        ("59R04", OHM, "59.04"),
        ("2M2", OHM, "2200000"),
        ("1G0", OHM, "1000000000"),
        ("R005", OHM, "0.005"),
        ("5m", OHM, "0.005"),
        ("0R", OHM, "0"),
        ("p33", FARAD, None),  # three digits of a picofarad alone are not guessed at
        ("3p3", FARAD, "3.3e-12"),
        ("332p", FARAD, "332e-12"),
        ("3n32", FARAD, "3.32e-9"),
        ("0.1uF", FARAD, "1e-7"),
        ("0.1 µF", FARAD, "1e-7"),
        ("100nF", FARAD, "1e-7"),
        ("100n", FARAD, "1e-7"),
        ("100N", FARAD, "1e-7"),
        ("2u2", FARAD, "2.2e-6"),
        ("22uF", FARAD, "22e-6"),
        ("1mF", FARAD, "1e-3"),
        ("4u7H", HENRY, "4.7e-6"),
        ("10 uH", HENRY, "1e-5"),
        ("32.768kHz", HERTZ, "32768"),
        ("16 MHz", HERTZ, "16000000"),
    ],
)
def test_a_marking_is_parsed(marking, unit, number):
    expected = (unit, D(number)) if number else None
    assert parse_value(marking).amount == expected


@pytest.mark.parametrize(
    ("code", "name", "unit", "number"),
    [
        ("104", "capacitor", FARAD, "1e-7"),
        ("104K", "capacitor", FARAD, "1e-7"),
        ("479", "capacitor, ceramic", FARAD, "4.7e-12"),
        ("109", "capacitor", FARAD, "1e-12"),
        ("472", "resistor", OHM, "4700"),
        ("4701", "resistor", OHM, "4700"),
        ("1000", "resistor", OHM, "100"),
        ("104", "resistor", OHM, "100000"),
        ("100", "inductor", HENRY, "1e-5"),
        ("2u2", "inductor", HENRY, "2.2e-6"),
        ("104K", "resistor", OHM, "104000"),
    ],
)
def test_the_kind_of_part_decides_a_bare_code(code, name, unit, number):
    assert parse_value(code, name=name).amount == (unit, D(number))


def test_a_bare_code_without_a_kind_is_ambiguous():
    both = parse_value("104")
    assert both.amount is None
    assert both.amounts == ((FARAD, D("1e-7")), (OHM, D(100000)))


def test_equal_values_have_equal_keys_in_any_notation():
    for group in (
        ["4k7", "4K7", "4700R", "4.7k", "4.7 kΩ", "0.0047M"],
        ["0.1uF", "100nF", "100n", "0,1 µF", "100000pF"],
        ["6.3V", "6V3", "6.3 V", "6300mV"],
        ["0402", "1005", "1005 metric"],
        ["0201", "0603 metric", "0603M"],
        ["C0G", "NP0", "cog"],
        ["SOT-23", "sot23"],
        ["90R@100MHz", "90 Ω @ 100 MHz", "0.09k@0.1GHz"],
    ):
        assert len({keys(text) for text in group}) == 1, group
    assert set(keys("100nF")) <= set(keys("104"))


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("4k7", "47k"),
        ("10m", "10M"),
        ("100nF", "100pF"),
        ("90R", "90R@100MHz"),
        ("0402", "0402 metric"),
        ("2.2R", "22R"),
    ],
)
def test_different_values_have_different_keys(one, other):
    assert not set(keys(one)) & set(keys(other))


def test_a_whole_marking_is_parsed():
    value = parse_value("22uF 6.3V X5R 0603 ±20%")
    assert value == PartValue(
        amounts=((FARAD, D("0.000022")),),
        tolerance=D(20),
        ratings=(("V", D("6.3")),),
        dielectric="X5R",
        package="0603",
    )
    assert format_value(value) == "22 µF, ±20 %, 6.3 V, X5R, 0603 (1608 metric)"


def test_an_impedance_is_parsed_with_its_frequency():
    value = parse_value("90R@100MHz 500mA 0805")
    assert (value.amount, value.at) == ((OHM, D(90)), D(100_000_000))
    assert format_value(value) == "90 Ω at 100 MHz, 500 mA, 0805 (2012 metric)"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "socket, 5 pin",
        "-",
        "1/0W",
        "k",
        "R",
        "@",
        "%",
        "9" * 50 + "R",
        "٤k٧",
        "\x00",
    ],
)
def test_text_without_a_value_gives_none(text):
    assert parse_value(text) == PartValue()


# IEC 60062 tolerance letters [M].
@pytest.mark.parametrize(
    ("letter", "percent"),
    [("B", "0.1"), ("D", "0.5"), ("F", "1"), ("G", "2"), ("J", "5"), ("K", "10")],
)
def test_a_letter_after_the_code_is_its_tolerance(letter, percent):
    assert parse_value(f"104{letter}", name="capacitor").tolerance == D(percent)


# EIA and IEC names of the same chip sizes [M]: 0402 is 1.0 by 0.5 mm.
@pytest.mark.parametrize(
    ("inch", "metric"),
    [("0201", "0603"), ("0402", "1005"), ("0603", "1608"), ("0805", "2012")],
)
def test_inch_and_metric_names_of_a_package_are_one(inch, metric):
    assert METRIC[inch] == metric and INCH[metric] == inch


# --- IEC 60063 --------------------------------------------------------------------


@pytest.mark.parametrize("size", [48, 96])
def test_the_fine_series_follow_their_law(size):
    """IEC 60063: the n-th value is 10 to the n/E, rounded to three figures."""
    law = [D(round(100 * 10 ** (n / size))) for n in range(size)]
    assert len(set(law)) == size
    for value in law:
        assert find_series(value) and int(find_series(value)[1:]) <= size


def test_e24_is_near_its_law_and_has_the_coarser_series_within():
    """IEC 60063 keeps seven older values of E24 that differ from the law, all of E12
    by at most 4 % and the rest by less than 5 % [M]."""
    for n, value in enumerate(E24):
        assert abs(value / (10 * 10 ** (n / 24)) - 1) < 0.05
    assert [v for v in E24 if find_series(D(v)) == "E3"] == [10, 22, 47]
    assert E24[::4] == (10, 15, 22, 33, 47, 68)
    assert E24[::2] == (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)


@pytest.mark.parametrize(
    ("number", "series"),
    [
        ("4700", "E3"),
        ("0.068", "E6"),
        ("8.2e-9", "E12"),
        ("91", "E24"),
        ("4.75e3", "E96"),
        ("4.64e3", "E48"),
        ("49.9", "E96"),
        ("50", ""),
        ("4711", ""),
        ("0", ""),
    ],
)
def test_the_series_of_a_value(number, series):
    assert find_series(D(number)) == series


# --- standing in --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wanted", "candidate"),
    [
        ("4k7 1% 0402", "4700R 1% 1005"),
        ("4k7 5% 0402", "4.75k 1% 0402"),
        ("22uF 6.3V X5R 0603", "22uF 10V X7R 0603"),
        ("100n 16V X7R 0402", "104J 25V C0G 0402"),
        ("90R@100MHz 0805 300mA", "90R@100MHz 0805 500mA"),
    ],
)
def test_a_part_at_least_as_good_fits(wanted, candidate):
    kind = "capacitor" if "F" in wanted or "n" in wanted else ""
    parsed = parse_value(wanted, name=kind)
    assert substitute_problems(parse_value(candidate, name=kind), wanted=parsed) == []


@pytest.mark.parametrize(
    ("wanted", "candidate", "why"),
    [
        ("4k7 1% 0402", "4k7 5% 0402", "within ±1 %"),
        ("4k7 1% 0402", "4k7 0402", "within ±1 %"),
        ("4k7 1% 0402", "4k7 1% 0603", "package"),
        ("4k7 1% 0402", "4k99 1% 0402", "instead of"),
        ("22uF 6.3V X5R 0603", "22uF 4V X5R 0603", "6.3 V"),
        ("22uF 6.3V X5R 0603", "22uF X5R 0603", "6.3 V"),
        ("22uF 6.3V X7R 0603", "22uF 6.3V Y5V 0603", "X7R"),
        ("90R@100MHz 0805", "90R 0805", "kind"),
        ("90R@100MHz 0805", "90R@25MHz 0805", "instead of"),
        ("4k7 0402", "4n7 0402", "kind"),
        ("4k7 0402", "screw", "interpreted"),
    ],
)
def test_a_part_worse_in_one_respect_does_not_fit(wanted, candidate, why):
    reasons = substitute_problems(parse_value(candidate), wanted=parse_value(wanted))
    assert len(reasons) == 1 and why in reasons[0]


@pytest.mark.parametrize(
    ("number", "text"),
    [
        ("4700", "4.7 kΩ"),
        ("0.005", "5 mΩ"),
        ("100", "100 Ω"),
        ("1e6", "1 MΩ"),
        ("0", "0 Ω"),
    ],
)
def test_a_value_is_shown_with_a_fitting_prefix(number, text):
    assert format_amount(OHM, D(number)) == text
