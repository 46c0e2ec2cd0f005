"""Remove tokens from log lines, so that nobody who reads logs can answer quotes."""

import logging
import re
import time

_TOKEN = re.compile(r"(/q/)[^/\s?#\"'<>]+", re.IGNORECASE)
# In these lines PostgreSQL repeats the values of the row that it refused.
_DETAIL = re.compile(r"^DETAIL: .*$", re.MULTILINE)


def masked(text: str) -> str:
    """Return `text` without the token of any customer's link."""
    return _TOKEN.sub(r"\1…", text)


class MaskedRecord(logging.LogRecord):
    """A log record of any logger in this process, including the web server's.

    A filter would have to be added to every logger, including those of libraries.
    """

    def getMessage(self) -> str:
        return masked(super().getMessage())


class MaskedFormatter(logging.Formatter):
    """Format a line with the request's id; also its traceback holds no token."""

    converter = time.gmtime

    def __init__(self) -> None:
        super().__init__(
            "%(asctime)s %(levelname)s id=%(id)s %(message)s", "%Y-%m-%dT%H:%M:%SZ"
        )

    def format(self, record: logging.LogRecord) -> str:
        request = getattr(record, "request", None)
        record.id = getattr(request, "request_id", "-")
        return _DETAIL.sub("DETAIL: …", masked(super().format(record)))


def mask_records() -> None:
    """Remove tokens from all log records of this process from now on."""
    logging.setLogRecordFactory(MaskedRecord)
