"""Who acts now, and through what: for the trail, which no action is told."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, replace
from typing import Any

WEB, CUSTOMER_LINK, PHOTO_LINK = "web", "customer link", "photo link"
API = "API"
PROGRAM = "program"


@dataclass(frozen=True)
class Acting:
    """`by` is a user or None; a web request loads it only if an entry is written."""

    source: str = PROGRAM
    by: Any = None


_process = Acting()
_now: ContextVar[Acting] = ContextVar("acting", default=_process)


def current() -> Acting:
    """Return who acts in this request, else in this process."""
    now = _now.get()
    return _process if now.source == PROGRAM else now


@contextmanager
def acting(source: str, by: Any = None) -> Iterator[None]:
    """Name who acts inside the `with` block."""
    token = _now.set(Acting(source, by))
    try:
        yield
    finally:
        _now.reset(token)


def act_through(source: str) -> None:
    """Name through what else this request acts, until the `with` block ends."""
    _now.set(replace(_now.get(), source=source))


def act_as_command(name: str) -> None:
    """Name the command that this process runs; requests name who acts themselves."""
    global _process
    _process = Acting(f"command {name}")
