"""How large a quote may get: more would not be read by any customer."""

from decimal import Decimal

MOST_OPTIONS = 5
MOST_LINES = 30
HIGHEST = Decimal(10) ** 9
"""No line is dearer, in whatever currency."""
