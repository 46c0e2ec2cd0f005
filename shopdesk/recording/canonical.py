"""Values as text that is always the same: for the trail, its hashes and backups."""

import json
from base64 import b64encode
from datetime import UTC, date, datetime
from decimal import Decimal
from hashlib import sha256
from typing import Any
from uuid import UUID


def to_json(value: Any) -> Any:
    """Return the value as JSON can hold it, the same from both databases."""
    if isinstance(value, str):
        return str(value)  # of a choice, its bare text
    if value is None or isinstance(value, bool | int | float | list | dict):
        return value
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat(timespec="microseconds")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    if isinstance(value, bytes | bytearray | memoryview):
        return b64encode(bytes(value)).decode()
    if isinstance(value, UUID):
        return str(value)
    raise TypeError(f"JSON cannot hold a {type(value).__name__}.")


def json_line(value: Any) -> bytes:
    """Return JSON without spaces, in one order of keys.

    PostgreSQL keeps the members of a JSON object in an order of its own.
    """
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), sort_keys=True)
    return text.encode()


def hash_of(*values: Any) -> str:
    """Return the SHA-256 of the values, as 64 hexadecimal digits."""
    return sha256(json_line([to_json(value) for value in values])).hexdigest()
