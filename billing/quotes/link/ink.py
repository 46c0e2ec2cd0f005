"""A drawn signature: an SVG path that can be nothing but lines in a small box."""

import re

WIDE, HIGH = 600, 200
LONGEST = 8000
"""Characters; about a thousand points."""

_POINT = r"[0-9]{1,3} [0-9]{1,3}"
_PATH = re.compile(rf"(?:M{_POINT}(?:L{_POINT})*)+", re.ASCII)


def is_ink(path: str) -> bool:
    """Whether `path` is made of M and L with whole numbers inside the box."""
    if len(path) > LONGEST or not _PATH.fullmatch(path):
        return False
    points = [point.split() for point in re.split("[ML]", path) if point]
    return all(int(x) <= WIDE and int(y) <= HIGH for x, y in points)
