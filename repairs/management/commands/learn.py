"""Learn from closed jobs that were not learnt from, or count all anew."""

import sys

from django.core.management.base import BaseCommand
from tqdm import tqdm

from repairs.diagnosis import learning
from shopdesk.shop.time_zone import use_shop_time_zone


class Command(BaseCommand):
    help = (
        "Learn from closed jobs which faults come with which symptoms, results of"
        " checks and words. Jobs are learnt from as they are closed, so this is needed"
        " only after an update from an old version, or to count all anew."
    )

    def add_arguments(self, parser):
        parser.add_argument(
            "--rebuild", action="store_true", help="forget all, and learn anew"
        )

    def handle(self, *, rebuild, verbosity=1, **options):
        use_shop_time_zone()
        act = learning.rebuild if rebuild else learning.learn_all
        quiet = not verbosity
        with tqdm(
            total=None if rebuild else learning.count_to_learn(),
            desc="learning",
            unit=" jobs",
            leave=False,
            file=sys.stderr,
            disable=True if quiet else None,
        ) as bar:
            cases = act(bar.update)
        if not quiet:
            self.stdout.write(f"{cases:,} cases learnt.")
