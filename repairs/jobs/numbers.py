"""Job numbers and their check character.

The check character is ISO/IEC 7064 MOD 37,36 (a hybrid system over 0-9A-Z): it catches
every single wrong character and nearly every swap of two neighbours.
"""

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def check_character(text: str) -> str:
    """The check character of `text`; all but letters and digits is passed over."""
    check = 36
    for character in text.upper():
        if character not in ALPHABET:
            continue
        check = (check + ALPHABET.index(character)) % 36 or 36
        check = check * 2 % 37
    return ALPHABET[(1 - check) % 36]


def job_number(year: int, number: int) -> str:
    """`26-00412` for the 412th job of 2026."""
    return f"{year % 100:02d}-{number:05d}"


def label_code(number: str) -> str:
    """What stands on the label under the code: the number and its check character."""
    return f"{number}-{check_character(number)}"


def from_label(scanned: str) -> str | None:
    """The job number of a scanned label, or None where the check fails."""
    number, dash, check = scanned.strip().upper().rpartition("-")
    if dash and number and check == check_character(number):
        return number
    return None
