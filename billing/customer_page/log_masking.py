"""No token in any log: whoever reads a log must not be able to answer a quote."""

import logging
import re

_TOKEN = re.compile(r"(/q/)[^/\s?#\"'<>]+")


def masked(told: str) -> str:
    """`told` with the token cut out of every address of a customer's page in it."""
    return _TOKEN.sub(r"\1…", told)


class MaskedRecord(logging.LogRecord):
    """A line of a log, as all loggers of this process write it, the web server's too.

    A filter would have to hang on every logger, also on those that others set up.
    """

    def getMessage(self) -> str:
        return masked(super().getMessage())


class MaskedFormatter(logging.Formatter):
    """The whole of what is written, the traceback too."""

    def __init__(self) -> None:
        super().__init__("%(asctime)s %(levelname)s %(message)s")

    def format(self, record: logging.LogRecord) -> str:
        return masked(super().format(record))


def mask_records() -> None:
    """Mask whatever is logged in this process from now on."""
    logging.setLogRecordFactory(MaskedRecord)
