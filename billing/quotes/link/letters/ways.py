"""Where the letters about an answer lead."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Ways:
    """`link` is the customer's own page, `desk` the root of the desk's address.

    Empty where that is not known for sure. A letter to the shop never has the link:
    whoever holds it answers as the customer.
    """

    link: str = ""
    desk: str = ""


UNKNOWN = Ways()
