"""Remove tokens from log lines: a reader of logs must not answer quotes."""

import logging
import re

_TOKEN = re.compile(r"(/q/)[^/\s?#\"'<>]+")


def masked(text: str) -> str:
    """Return `text` with the token removed from every customer's link."""
    return _TOKEN.sub(r"\1…", text)


class MaskedRecord(logging.LogRecord):
    """A log record of any logger in this process, the web server's included.

    A filter would have to be set on every logger, also on those of libraries.
    """

    def getMessage(self) -> str:
        return masked(super().getMessage())


class MaskedFormatter(logging.Formatter):
    """Formats a log line without tokens, the traceback included."""

    def __init__(self) -> None:
        super().__init__("%(asctime)s %(levelname)s %(message)s")

    def format(self, record: logging.LogRecord) -> str:
        return masked(super().format(record))


def mask_records() -> None:
    """Remove tokens from all log records of this process from now on."""
    logging.setLogRecordFactory(MaskedRecord)
