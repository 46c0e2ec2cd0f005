"""Replay the shop's own past: how often was the true fault among the first?"""

import json
import sys
from datetime import date

from django.core.management.base import BaseCommand, CommandError
from tqdm import tqdm

from repairs.diagnosis.past_cases import load_past
from repairs.diagnosis.replaying import TOPS, replay
from shopdesk.shop.time_zone import use_shop_time_zone

NAMES = {
    "ours": "this shop’s diagnosis",
    "baseline": "the model’s most frequent faults",
    "naive_bayes": "naive Bayes (scikit-learn)",
}


class Command(BaseCommand):
    help = (
        "Replay the shop's past in order: for each closed job, rank the faults with"
        " what was known when the device came in, its symptoms and its check results,"
        " and report how often the true fault ranks first, among the first three and"
        " among the first five. A job whose fault was never seen before is a miss."
    )

    def add_arguments(self, parser):
        parser.add_argument(
            "--from",
            dest="start",
            metavar="DAY",
            help="count only jobs booked in from this day, such as 2025-06-30;"
            " earlier ones are learnt from",
        )
        parser.add_argument(
            "--format", choices=["text", "json"], default="text", help="default: text"
        )

    def handle(self, *, start, format, verbosity=1, **options):
        use_shop_time_zone()
        try:
            start = date.fromisoformat(start) if start else None
        except ValueError:
            raise CommandError(
                f"{start} is not a valid date. Use 2025-06-30."
            ) from None
        cases = load_past()
        with tqdm(
            total=len(cases),
            desc="replaying",
            unit=" jobs",
            leave=False,
            file=sys.stderr,
            disable=None if verbosity else True,
        ) as bar:
            found = replay(cases, start=start, progress=bar.update)
        if format == "json":
            self.stdout.write(json.dumps(found))
            return
        self.stdout.write(
            f"{found['jobs']:,} jobs replayed. True fault among the first"
        )
        self.stdout.write(f"{'':34}" + "".join(f"{top:>8}" for top in TOPS))
        for key, name in NAMES.items():
            if key in found:
                shares = "".join(f"{found[key][str(top)]:8.1%}" for top in TOPS)
                self.stdout.write(f"{name:34}{shares}")
        self.stdout.write(
            f"Probability stated for the first fault: {found['stated']:.1%} on average."
        )
        if "naive_bayes" not in found:
            self.stdout.write(
                "scikit-learn is not installed, so its naive Bayes is left out."
            )
