from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from repairs.jobs.bench_notation import (
    NOTHING,
    SCALED,
    Expected,
    Measured,
    NotationError,
    expected_from_stored,
    format_expected,
    format_reading,
    from_stored,
    parse_expected,
    parse_reading,
    passes,
    to_stored,
)


def D(text):
    return Decimal(text)


@pytest.mark.parametrize(
    ("text", "amount", "unit"),
    [
        # IEC 60062 [P2]: a letter in the place of the decimal point.
        ("4k7", "4700", "Ω"),
        ("R47", "0.47", "Ω"),
        ("1m2", "0.0012", "Ω"),
        ("1M2", "1200000", "Ω"),
        ("3v3", "3.3", "V"),
        ("2u2", "0.0000022", "F"),
        ("100nF", "0.0000001", "F"),
        ("1,85 V", "1.85", "V"),
        ("-12V", "-12", "V"),
        ("35 µA", "0.000035", "A"),
        ("16MHz", "16000000", "Hz"),
        ("41 °C", "41", "°C"),
        ("12", "12", ""),
    ],
)
def test_numbers_are_read_as_at_the_bench(text, amount, unit):
    assert parse_reading(text) == Measured(D(amount), unit)


def test_what_else_a_meter_shows():
    assert parse_reading("OL", unit="Ω") == Measured(unit="Ω", relation="OL")
    assert parse_reading(">1M") == Measured(D(10**6), "Ω", ">")
    choke = Measured(D(90), "Ω", at_hertz=D(10**8))
    assert parse_reading("90R@100MHz") == choke
    diode = Measured(D("0.45"), "V", is_diode=True)
    assert parse_reading("0.45 V diode") == parse_reading("0.45diode") == diode


@pytest.mark.parametrize(
    "text",
    ["1e5", "5kk", "4.7.1", "٣", "k", "0x10", "1/3", "5 kmh", "NaN", "--5", "@5"],
)
def test_anything_else_is_refused(text):
    with pytest.raises(NotationError, match="is no reading"):
        parse_reading(text)


amounts = st.decimals("-99999", "99999", places=4).map(Decimal.normalize)
# What four decimals of the smallest prefix can hold.
scaled = st.builds(
    lambda n, power: Decimal(n).scaleb(power).normalize() + 0,
    st.integers(-99999, 99999),
    st.integers(-12, 6),
)
units = st.sampled_from(sorted(SCALED))
measured = st.one_of(
    st.builds(
        Measured,
        scaled,
        units,
        st.sampled_from(["", ">", "<"]),
        st.one_of(st.none(), st.integers(1, 10**9).map(Decimal)),
    ),
    st.builds(Measured, amounts.map(abs), st.just("V"), is_diode=st.just(True)),
    st.builds(Measured, amounts, st.sampled_from(["", "%", "°C"])),
    st.just(Measured(relation="OL")),
)
limits = st.one_of(
    st.builds(
        lambda ends, unit: Expected(*sorted(ends), unit),
        st.tuples(scaled, scaled),
        units,
    ),
    st.builds(Expected, scaled, st.none(), units),
    st.builds(Expected, st.none(), scaled, units),
    st.just(Expected(is_open=True)),
    st.just(NOTHING),
)


@given(measured)
def test_what_is_formatted_is_read_as_the_same(reading):
    assert parse_reading(format_reading(reading)) == reading


@given(limits)
def test_limits_that_are_formatted_are_read_as_the_same(expected):
    read = parse_expected(format_expected(expected))
    assert (read.low, read.high, read.is_open) == (
        expected.low,
        expected.high,
        expected.is_open,
    )
    assert read.unit == expected.unit


@given(measured, limits)
def test_a_row_of_the_database_holds_exactly_what_was_read(reading, expected):
    if reading.relation != "OL":
        expected = Expected(expected.low, expected.high, reading.unit, expected.is_open)
    try:
        stored = to_stored(reading, expected)
    except NotationError:
        # Nothing of a common size is refused.
        every = (reading.amount, expected.low, expected.high)
        sizes = [abs(amount) for amount in every if amount]
        assert max(sizes) / min(sizes) > 10**8 or reading.unit not in SCALED
        return
    facts = {"at_hertz": reading.at_hertz, "is_diode": reading.is_diode}
    again = from_stored(stored, relation=reading.relation, **facts)
    assert (again.amount, again.kind[1:]) == (reading.amount, reading.kind[1:])
    limits = expected_from_stored(stored, is_open=expected.is_open)
    assert (limits.low, limits.high) == (expected.low, expected.high)
    assert again.unit == limits.unit == (reading.unit or expected.unit)


def test_a_unit_of_an_old_record_is_kept():
    for unit, text in {"rpm": "900 rpm", "kΩ": "900 kΩ", "mV": "900 mV"}.items():
        stored = to_stored(Measured(D(900), "rpm"), NOTHING)._replace(unit=unit)
        read = from_stored(stored, relation="", at_hertz=None, is_diode=False)
        shown = format_reading(read)
        assert shown == text or parse_reading(shown) == parse_reading(text)


@pytest.mark.parametrize(
    ("reading", "expected", "result"),
    [
        ("3.465V", "3v3 ±5%", True),
        ("3.466V", "3v3 ±5%", False),
        ("OL", ">1M", True),
        ("OL", "<5R", False),
        ("OL", "OL", True),
        ("4k7", "OL", False),
        (">1M", ">1M", True),
        (">1M", ">2M", None),
        (">1M", "<2M", None),
        (">2M", "<1M", False),
        ("<1R", "<2R", True),
        ("<1R", "0.1-2R", None),
        ("<1R", ">2R", False),
        ("5V", "none", None),
        ("5V", "5V ±0.1V", True),
    ],
)
def test_pass_and_fail(reading, expected, result):
    assert passes(parse_reading(reading), parse_expected(expected)) is result
