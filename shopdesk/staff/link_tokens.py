"""The tokens of links that need no sign-in; only their hashes are stored."""

import secrets
from hashlib import sha256


def new_token() -> str:
    """Return a token of 256 random bits."""
    return secrets.token_urlsafe(32)


def hash_of(token: str) -> str:
    """Return what is stored of a token: a plain hash is enough, as it is random."""
    return sha256(token.encode(errors="replace")).hexdigest()
