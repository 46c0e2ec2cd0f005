"""How shares are written for people, on screens and documents alike."""


def format_share(value: float) -> str:
    """Return a probability in percent with its significant digits: 2.3 %."""
    return f"{_percent_digits(value)} %"


def format_share_range(low: float, high: float) -> str:
    """Return two limits in percent: 28–55 %."""
    return f"{_percent_digits(low)}–{_percent_digits(high)} %"


def _percent_digits(value: float) -> str:
    percent = value * 100
    if 0 < percent < 0.05:
        return "<0.1"
    if 99.5 <= percent < 100:
        return ">99"
    return f"{percent:.1f}" if 0 < percent < 9.95 else f"{percent:.0f}"
