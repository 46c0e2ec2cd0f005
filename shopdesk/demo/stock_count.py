"""The stock count at the end of the demo: some parts are to be ordered."""

from repairs.stock.actions import count
from repairs.stock.models import Part
from shopdesk.demo.story import Story
from shopdesk.stamp import Stamp

FOUND = {"LCD-8": 0, "REF-5": 0, "JCK-5521": 1, "STK-2": 0, "BAT-3S": 1}


def count_stock(story: Story) -> None:
    """Find fewer pieces of some parts than recorded."""
    stamp = Stamp(story.now, story.bench)
    for part in Part.objects.filter(number__in=FOUND).order_by("number"):
        pieces = min(FOUND[part.number], part.on_hand)
        count(part, counted=pieces, reason="Monthly count", stamp=stamp)
