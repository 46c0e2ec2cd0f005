"""The words of a complaint that may say what is wrong: folded, without endings."""

import re
import unicodedata
from functools import lru_cache

import snowballstemmer

MAX_WORDS = 60
"""Different words of one complaint that are used; more would be a pasted document."""
WORD = re.compile(r"[a-z]{2,30}")
STOP_WORDS = frozenset(
    """
    a about after again all also am an and any are as at be because been before being
    but by can cannot could did do does doing don down for from get gets go goes got had
    has have he her here him his how i if in into is it its just like me more most my no
    nor not now of off on one only or other our out over own please same she since so
    some such than that the their them then there these they this those to too up us
    very was we well were what when where which while who why will with would you your
    yours ll ve re isn doesn didn won wasn couldn
    ab aber alle als am an auch auf aus bei beim bin bis bitte da damit dann das dass
    dem den der des die dies diese dieser dieses doch du durch ein eine einem einen
    einer eines er es etwas fur hab habe haben hat hatte ich ihm ihn ihr im immer in ist
    ja jetzt kann kein keine man mehr mein meine mit nach nicht noch nun nur oder ohne
    schon sehr sein seine seit sich sie sind so uber um und uns unter vom von vor war
    was wegen weil wenn wer wie wieder will wir wird wo wurde zu zum zur
    """.split()
)
_ENGLISH, _GERMAN = map(snowballstemmer.stemmer, ("english", "german"))


def stems(text: str) -> frozenset[str]:
    """Return the stems of the words in `text` that are no stop words."""
    bare = unicodedata.normalize("NFKD", text.casefold())
    bare = "".join(c for c in bare if not unicodedata.combining(c))
    words = dict.fromkeys(w for w in WORD.findall(bare) if w not in STOP_WORDS)
    return frozenset(stem(word) for word in list(words)[:MAX_WORDS])


@lru_cache(maxsize=20_000)
def stem(word: str) -> str:
    """Return `word` without its endings, of English and then of German.

    Both are removed, since a word on its own does not tell its language, and one word
    must always become the same.
    """
    return str(_GERMAN.stemWord(_ENGLISH.stemWord(word)))
