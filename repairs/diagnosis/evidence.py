"""What is known of a job, as keys under which past jobs are counted.

A job is counted for each of its faults, at several levels: the whole shop, the kind of
device, the model, the board revision of the model. What a family of models has seen is
the sum of its models, so a model may change its family at any time.
"""

import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

SHOP = ""
ALL = ""
"""The feature that every job has."""
WITH_SYMPTOMS = "s"
WITH_WORDS = "w"
MAX_KEY = 100


@dataclass(frozen=True)
class Place:
    """Where a device stands among others; `family` holds the models of its family."""

    kind: str
    model: int | None = None
    board: str = ""
    family: tuple[int, ...] = ()

    @property
    def steps(self) -> list[tuple[str, ...]]:
        """Return the levels from the shop to the board; a step sums its levels."""
        steps: list[tuple[str, ...]] = [(SHOP,), (kind_level(self.kind),)]
        if len(self.family) > 1:
            steps.append(tuple(model_level(model) for model in self.family))
        if self.model is not None:
            steps.append((model_level(self.model),))
            if self.board:
                steps.append((board_level(self.model, self.board),))
        return steps


@dataclass(frozen=True)
class Evidence:
    """What is known of a job besides its device. `words` are keys of words, not words;
    `results` are those of bench checks."""

    symptoms: frozenset[int] = frozenset()
    results: Mapping[int, str] = field(default_factory=dict)
    words: frozenset[str] = frozenset()

    @property
    def is_empty(self) -> bool:
        return not (self.symptoms or self.results or self.words)

    def features(self) -> list[str]:
        """Return the keys under which a job with this evidence is counted."""
        found = [symptom_key(symptom) for symptom in sorted(self.symptoms)]
        found += [result_key(*pair) for pair in sorted(self.results.items())]
        found += [word_key(word) for word in sorted(self.words)]
        return found


def read_features(features: Iterable[str]) -> Evidence:
    """Return the evidence of which `features` are the keys."""
    symptoms, results, words = set(), {}, set()
    for feature in features:
        if feature.startswith("s"):
            symptoms.add(int(feature[1:]))
        elif feature.startswith("w"):
            words.add(feature[1:])
        else:
            check, _, result = feature[1:].partition("=")
            results[int(check)] = result
    return Evidence(frozenset(symptoms), results, frozenset(words))


def counted(place: Place, features: Iterable[str]) -> Iterator[tuple[str, str]]:
    """Yield each level and feature under which one fault of a job is counted."""
    features = list(features)
    words = [f for f in features if f.startswith("w")]
    others = [f for f in features if not f.startswith("w")]
    if any(f.startswith("s") for f in others):
        others.append(WITH_SYMPTOMS)
    if words:
        words.append(WITH_WORDS)
    # A family is the sum of its models.
    own = Place(place.kind, place.model, place.board)
    for depth, (level,) in enumerate(own.steps):
        yield level, ALL
        if depth < 3:
            yield from ((level, feature) for feature in others)
        if depth < 2:
            yield from ((level, feature) for feature in words)


def kind_level(kind: str) -> str:
    return f"k{_folded(kind)}"[:MAX_KEY]


def model_level(model: int) -> str:
    return f"m{model}"


def board_level(model: int, board: str) -> str:
    return f"b{model}:{_folded(board)}"[:MAX_KEY]


def symptom_key(symptom: int) -> str:
    return f"s{symptom}"


def result_key(check: int, result: str) -> str:
    return f"c{check}={_folded(result)}"[:MAX_KEY]


def word_key(word: str) -> str:
    return f"w{word}"


def _folded(text: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())
