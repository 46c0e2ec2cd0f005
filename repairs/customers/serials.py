"""Serial numbers: written in many ways, misread in a few."""

LOOKALIKES = str.maketrans("OQDILSBZG", "000115826")


def key(serial: str) -> str:
    """The serial as it is compared: capitals and digits only."""
    return "".join(c for c in serial.upper() if c.isalnum())


def look(serial: str) -> str:
    """The serial as it looks: O like 0, I and L like 1, S like 5, B like 8."""
    return key(serial).translate(LOOKALIKES)
