"""How names, phone numbers and serial numbers are stored and compared.

Names of any script are accepted. Invisible characters, which would make two equal names
differ or reverse a line on paper, are removed.
"""

from shopdesk.text import clean_text

LOOKALIKES = str.maketrans("OQDILSBZG", "000115826")


def normalize_text(text: str, *, keep_lines: bool = False) -> str:
    """Return `text` in NFC, without invisible characters, with single spaces."""
    if keep_lines:
        lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
        return "\n".join(normalize_text(line) for line in lines).strip("\n")
    return " ".join(clean_text(text).split())


def phone_digits(text: str) -> tuple[str, ...]:
    """Return the digits of a phone number as E.164 may contain them; () if it is none.

    `020 7946 0018` is stored as `+442079460018`: the trunk or international prefix is
    not part of that, so the digits are also returned without leading zeros.
    """
    text = text.replace("(0)", "")
    digits = "".join(c for c in text if c in "0123456789")
    if len(digits) < 3 or any(c not in "0123456789 +-/.()" for c in text):
        return ()
    bare = digits.lstrip("0")
    return (digits, bare) if bare != digits and len(bare) >= 3 else (digits,)


def normalize_serial(serial: str) -> str:
    """Return the serial number as it is compared: capitals and digits only."""
    return "".join(c for c in serial.upper() if c.isalnum())


def lookalike_serial(serial: str) -> str:
    """Return the serial number with look-alikes made equal, such as O and 0."""
    return normalize_serial(serial).translate(LOOKALIKES)
