"""Words that are easy to type from the screen and hard to guess."""

import random

CONSONANTS = "bdfgkmnprstvz"
VOWELS = "aeiou"


def passphrase(pick: random.Random, *, words: int = 5) -> str:
    """Made-up words and two digits: `tabo-kemi-nuru-zepo-dagi-47`, over 60 bits."""
    made = [
        "".join(pick.choice(letters) for letters in (CONSONANTS, VOWELS) * 2)
        for _ in range(words)
    ]
    return "-".join([*made, str(pick.randrange(10, 100))])
