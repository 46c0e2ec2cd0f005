"""Passphrases: random ones, and whether one is easily guessed."""

import re
import secrets
from collections.abc import Collection, Iterable

# No characters that are easily mistaken for others: 0 o, 1 l i, u v.
LETTERS = "23456789abcdefghjkmnpqrstwxyz"
COMMON_TRADE_WORDS = (
    "password",
    "passphrase",
    "repairs",
    "repair",
    "bench",
    "shop",
    "counter",
)


def random_passphrase(size: int = 5) -> str:
    """Return four groups, `k7mqd-4xwdz-9phtc-2bnye`: 97 bits, easy to read."""
    groups = ("".join(secrets.choice(LETTERS) for _ in range(size)) for _ in range(4))
    return "-".join(groups)


def is_repetition(password: str) -> bool:
    """Whether the password is up to ten characters, repeated."""
    unit = next(
        n
        for n in range(1, len(password) + 1)
        if (password[:n] * len(password)).startswith(password)
    )
    return unit <= 10 and unit < len(password)


def is_common(password: str, *, common: Collection[str]) -> bool:
    """Whether its letters are one or two common passwords, whatever is between them.

    Digits and signs make a short one long enough, but hardly harder to guess.
    """
    letters = re.sub(r"[\W\d_]+", "", password.lower())
    halves = ((letters[:n], letters[n:]) for n in range(1, len(letters)))
    return letters in common or any(
        first in common and second in common for first, second in halves
    )


def consists_of_words(password: str, *, words: Iterable[str]) -> bool:
    """Whether little is left of it without `words` that anyone would guess first."""
    bare = rest = password.casefold()
    known = {part.casefold() for word in words for part in re.split(r"[\W_]+", word)}
    for word in sorted(known | set(COMMON_TRADE_WORDS), key=len, reverse=True):
        if len(word) > 2:
            rest = rest.replace(word, "")
    return rest != bare and len(re.sub(r"[\W_]+", "", rest)) < 8
