"""What the till says no to."""


class Refused(Exception):
    """A bill or a payment that can't be, told as a sentence."""
