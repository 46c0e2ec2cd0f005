"""Quotes, their options and lines, and the links by which customers answer them."""

from billing.quotes.models.link import Link
from billing.quotes.models.option import (
    MAX_LINES,
    MAX_OPTIONS,
    MAX_PRICE,
    Line,
    LineKind,
    QuoteLine,
    QuoteOption,
)
from billing.quotes.models.quote import Quote

__all__ = [
    "MAX_LINES",
    "MAX_OPTIONS",
    "MAX_PRICE",
    "Line",
    "LineKind",
    "Link",
    "QuoteOption",
    "Quote",
    "QuoteLine",
]
