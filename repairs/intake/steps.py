"""What can be pressed while a device is booked in.

One field of the form says it: `find`, `book` … or a choice such as `customer:12`,
`customer:new`, and `customer:` for "someone else".
"""

FIND = "find"
LOOK = "look"
"""Look the serial up."""
GO = "go"
"""Enter in any box: whatever comes next."""
BOOK = "book"
NEW = "new"


def chosen(step: str) -> tuple[str, str]:
    """("customer", "12") of `customer:12`; two empty words where nothing is chosen."""
    what, colon, which = step.partition(":")
    return (what, which) if colon and what in ("customer", "device") else ("", "")


def pk_of(text: str | None) -> int | None:
    """The number of a record as a form sends it, or None where it is none."""
    if text and text.isascii() and text.isdigit() and len(text) < 19:
        return int(text)
    return None
