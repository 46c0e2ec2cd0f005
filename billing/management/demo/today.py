"""The demo shop today: jobs in every state, each brought there by the shop's own verbs.

The clock is set back while a job is told, so that its steps bear the days on which they
would have been made. Each file here tells a part, on top of the one before: clock,
counter, bench, offers, changes, mended, till, returns.
"""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal

from billing.management.demo.plan import ENDS, PLAN
from billing.management.demo.returns import Returns
from repairs.jobs import states
from shopdesk.post.models import Letter

BACK = (
    (states.UNDECIDED, False),
    (states.UNDECIDED, False),
    (states.HANDLING_DAMAGE, False),
    (states.SAME_FAULT, False),
    (states.SAME_FAULT, True),
)
"""What came back, and whether it is mended already."""


class Today(Returns):
    """Tells jobs one after the other; what they are is chosen by a seeded source."""

    jobs = len(PLAN) + len(ENDS) + len(BACK)

    def fill(self, *, progress: Callable[[], object] = lambda: None) -> None:
        """Tell the plan in the order the devices came in: numbers follow days."""
        told = [
            (-days, 0, lambda v=verb, c=code, d=days: getattr(self, v)(c, days=d))
            for days, verb, code in PLAN
        ]
        told += [
            (-end.days, -end.back, lambda e=end: self.handed_back(e)) for end in ENDS
        ]
        for *_, tell in sorted(told, key=lambda one: one[:2]):
            tell()
            progress()
        for what, is_mended in BACK:
            self.came_back(what, is_mended=is_mended)
            progress()
        self.pay_a_part(days=1)
        self.close(days=5)
        self.close(days=1, missing=Decimal("0.50"))
        for act in self._till_days():
            act()
        self._send_post()

    def _send_post(self) -> None:
        """What was written before yesterday has gone out, and one came back."""
        letters = list(Letter.objects.order_by("id"))
        for letter in letters[:-1]:
            if letter.written_at < self.now - timedelta(days=2):
                letter.is_sent(letter.written_at + timedelta(minutes=2))
        last = letters[-1]
        last.is_refused(
            f"The mail server does not take mail for {last.to}: mailbox unknown",
            self.now,
            for_good=True,
        )
