"""Passphrases: making random ones, and telling which ones are easily guessed."""

import re
import secrets
from collections.abc import Iterable

# Nothing that a hurried hand reads as something else: no 0 o, 1 l i, u v.
LETTERS = "23456789abcdefghjkmnpqrstwxyz"
TRADE = ("password", "passphrase", "repairs", "repair", "bench", "shop", "counter")


def random_passphrase() -> str:
    """Four groups of five, as `k7mqd-4xwdz-9phtc-2bnye`: 97 bits, easy to read out."""
    groups = ("".join(secrets.choice(LETTERS) for _ in range(5)) for _ in range(4))
    return "-".join(groups)


def is_repetition(password: str) -> bool:
    """Whether it is up to ten characters said over and over."""
    unit = next(
        n
        for n in range(1, len(password) + 1)
        if (password[:n] * len(password)).startswith(password)
    )
    return unit <= 10 and unit < len(password)


def consists_of_words(password: str, *, words: Iterable[str]) -> bool:
    """Whether little is left of it without `words` that anyone here would try first."""
    bare = rest = password.casefold()
    known = {part.casefold() for word in words for part in re.split(r"[\W_]+", word)}
    for word in sorted(known | set(TRADE), key=len, reverse=True):
        if len(word) > 2:
            rest = rest.replace(word, "")
    return rest != bare and len(re.sub(r"[\W_]+", "", rest)) < 8
