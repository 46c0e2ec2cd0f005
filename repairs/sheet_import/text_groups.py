"""Groups of texts that mean the same, each for one entry of the fault book."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd
from rapidfuzz import fuzz, process

from repairs.faults import fix_types
from repairs.sheet_import.written_values import plain

MIN_ALIKE = 85
"""Similarity of texts in one group, 0 to 100."""
MIN_ENTRY_ALIKE = 88
"""Similarity of a group to the name of an entry that it is taken for."""
MAX_GROUPED = 4_000
"""Different texts that are compared, the most frequent ones; the rest stand alone."""
BLOCK = 500
MAX_CODE = 40


@dataclass(frozen=True)
class TextGroup:
    """Texts of one meaning. Without a `code` they are not coded yet.

    With a `name` the code is new; `fix_type` is that of a new fix.
    """

    texts: list[str]
    code: str = ""
    name: str = ""
    fix_type: str = fix_types.LASTING
    is_checked: bool = False
    """Whether somebody has confirmed it."""
    counts: dict[str, int] = field(default_factory=dict, compare=False)

    @property
    def label(self) -> str:
        return self.texts[0] if self.texts else ""

    @property
    def size(self) -> int:
        return sum(self.counts.get(text, 0) for text in self.texts)

    def changed(self, **values: Any) -> "TextGroup":
        return replace(self, **values)

    @staticmethod
    def is_valid(facts: Any) -> bool:
        return (
            isinstance(facts, dict)
            and isinstance(facts.get("texts"), list)
            and all(isinstance(text, str) for text in facts["texts"])
            and all(isinstance(facts.get(n, ""), str) for n in ("code", "name"))
            and facts.get("fix_type", fix_types.LASTING) in fix_types.LABELS
        )

    @classmethod
    def from_facts(cls, facts: Mapping[str, Any]) -> "TextGroup":
        known = ("texts", "code", "name", "fix_type", "is_checked", "counts")
        return cls(**{name: facts[name] for name in known if name in facts})


def group_texts(
    texts: Iterable[str],
    *,
    entries: Mapping[str, str],
    decided: Sequence[TextGroup] = (),
) -> list[TextGroup]:
    """Return the texts in groups, the largest first; decided groups stay as they are.

    `texts` are the cells of all rows; `entries` the names of the fault book by code. A
    group gets the code of an entry of nearly the same name.
    """
    series = pd.Series([text for text in texts if plain(text)], dtype=object)
    counts = {str(text): int(n) for text, n in series.value_counts().items()}
    known = {
        plain(text): number for number, g in enumerate(decided) for text in g.texts
    }
    members: list[list[str]] = [
        [text for text in group.texts if text not in counts] for group in decided
    ]
    rest = []
    for text in counts:
        if (number := known.get(plain(text))) is not None:
            members[number].append(text)
        else:
            rest.append(text)
    groups = [
        group.changed(texts=_by_count(found, counts), counts=counts)
        for group, found in zip(decided, members, strict=True)
    ]
    for found in _clusters(rest, counts):
        code = nearest_entry(found[0], entries)
        groups.append(TextGroup(found, code=code, counts=counts))
    return _with_codes(sorted(groups, key=lambda group: -group.size), entries)


def _with_codes(
    groups: Sequence[TextGroup], entries: Mapping[str, str]
) -> list[TextGroup]:
    """Return the groups; those that have only a new name get a code."""
    taken = {*entries, *(group.code for group in groups)}
    found = []
    for group in groups:
        if group.name and not group.code:
            code = nearest_entry(group.name, entries)
            name = "" if code else group.name
            code = code or new_code(group.name, taken=taken)
            taken.add(code)
            group = group.changed(code=code, name=name)
        found.append(group)
    return found


def _by_count(texts: Collection[str], counts: Mapping[str, int]) -> list[str]:
    return sorted(texts, key=lambda text: (-counts.get(text, 0), text))


def _clusters(texts: Sequence[str], counts: Mapping[str, int]) -> list[list[str]]:
    """Return texts grouped around the most frequent ones."""
    by_plain: dict[str, list[str]] = {}
    for text in texts:
        by_plain.setdefault(plain(text), []).append(text)
    size = {key: sum(counts[text] for text in of) for key, of in by_plain.items()}
    keys = sorted(by_plain, key=lambda key: (-size[key], key))
    compared = keys[:MAX_GROUPED]
    found: list[list[str]] = []
    free = np.ones(len(compared), dtype=bool)
    for start in range(0, len(compared), BLOCK):
        block = compared[start : start + BLOCK]
        # Of a long list only a strip of the matrix is in memory.
        alike = np.maximum(
            *(
                process.cdist(
                    block,
                    compared,
                    scorer=scorer,
                    score_cutoff=MIN_ALIKE,
                    dtype=np.uint8,
                    workers=-1,
                )
                for scorer in (fuzz.ratio, fuzz.token_sort_ratio)
            )
        )
        for number in range(len(block)):
            if not free[start + number]:
                continue
            same = np.flatnonzero((alike[number] >= MIN_ALIKE) & free)
            free[same] = False
            free[start + number] = False
            group = dict.fromkeys([block[number], *(compared[one] for one in same)])
            found.append(
                _by_count([text for key in group for text in by_plain[key]], counts)
            )
    found += [_by_count(by_plain[key], counts) for key in keys[MAX_GROUPED:]]
    return found


def nearest_entry(
    text: str, entries: Mapping[str, str], *, min_alike: int = MIN_ENTRY_ALIKE
) -> str:
    """Return the code of the entry whose code or name is nearly this text, or ""."""
    by_text = {plain(name): code for code, name in entries.items()}
    by_text |= {plain(code): code for code in entries}
    best = process.extractOne(
        plain(text),
        list(by_text),
        scorer=fuzz.token_sort_ratio,
        score_cutoff=min_alike,
    )
    return by_text[best[0]] if best else ""


def new_code(name: str, *, taken: Collection[str]) -> str:
    """Return a code for a new entry of this name, such as SCREEN-CRACKED."""
    ascii_name = "".join(c if c.isascii() else " " for c in plain(name))
    words = ascii_name.upper().split() or ["ENTRY"]
    code = "-".join(words)[:MAX_CODE].strip("-")
    number, bare = 2, code
    while code in taken:
        code = f"{bare[: MAX_CODE - 4]}-{number}"
        number += 1
    return code


def merge(groups: Sequence[TextGroup], chosen: Collection[int]) -> list[TextGroup]:
    """Return the groups with the chosen ones, by position, as one."""
    picked = [groups[number] for number in sorted(chosen)]
    if len(picked) < 2:
        return list(groups)
    decided = next((one for one in picked if one.code), picked[0])
    texts = [text for one in picked for text in one.texts]
    merged = decided.changed(texts=_by_count(texts, picked[0].counts), is_checked=True)
    left = [one for number, one in enumerate(groups) if number not in chosen]
    return sorted([merged, *left], key=lambda group: -group.size)


def split(
    groups: Sequence[TextGroup], number: int, texts: Collection[str]
) -> list[TextGroup]:
    """Return the groups with some texts of one as a group of their own."""
    whole = groups[number]
    off = [text for text in whole.texts if text in texts]
    rest = [text for text in whole.texts if text not in texts]
    if not off or not rest:
        return list(groups)
    parts = [
        whole.changed(texts=rest, is_checked=True),
        TextGroup(off, is_checked=True, counts=whole.counts),
    ]
    found = [*groups[:number], *parts, *groups[number + 1 :]]
    return sorted(found, key=lambda group: -group.size)
