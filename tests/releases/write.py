"""Write the database of a release, from which later versions are tested to update.

`make release` fills a new database with the demo shop and a past of 5,000 visits, backs
it up to `tests/releases/VERSION.zip`, and writes what an update must not change to
`VERSION.json`: the rows of each table, the sums of money, the monthly report, and the
hashes of the released migrations.
"""

import json
import os
import sys
import tempfile
from hashlib import sha256
from pathlib import Path

HERE = Path(__file__).parent
ROOT = HERE.parent.parent
VISITS = 5_000
SEED = 1


def main():
    with tempfile.TemporaryDirectory() as folder:
        os.environ |= {
            "SHOPDESK_DATA": folder,
            "DJANGO_SETTINGS_MODULE": "shopdesk.settings",
        }
        os.environ.pop("DATABASE_URL", None)
        sys.path.insert(0, str(ROOT))
        import django

        django.setup()
        _write()


def _write():
    from django.core.management import call_command
    from django.utils import timezone

    from shopdesk.demo import past
    from shopdesk.keeping.backup import backup
    from shopdesk.papers import render
    from shopdesk.staff.models import User
    from shopdesk.version import VERSION
    from tests import papers
    from tests.releases.facts import facts_of_database, hashes_of_migrations

    # Real documents would be most of the file, and an update does not open them.
    render.draw_pdf = papers.stand_in
    past.VISITS = VISITS
    call_command("migrate", verbosity=0)
    call_command("demo", seed=SEED)
    for user in User.objects.all():
        user.set_unusable_password()
        user.save(update_fields=["password"])
    _add_what_the_demo_lacks()
    archive = HERE / f"{VERSION}.zip"
    archive.unlink(missing_ok=True)
    backup(archive)
    facts = facts_of_database(on=timezone.localdate()) | {
        "migrations": hashes_of_migrations()
    }
    (HERE / f"{VERSION}.json").write_text(json.dumps(facts, indent=1) + "\n")
    print(f"{archive}: {archive.stat().st_size / 1e6:.1f} MB")
    print(sha256(archive.read_bytes()).hexdigest())


def _add_what_the_demo_lacks():
    """Add a record of each kind that the demo shop has none of."""
    from django.utils import timezone

    from repairs.jobs.access_codes import store_access_code
    from repairs.jobs.models import Job
    from repairs.stock.models import Part
    from shopdesk.keeping.models import VerifiedBackup
    from shopdesk.staff.models import RecoveryCode, User

    now = timezone.now()
    job = Job.objects.open().last()
    Job.objects.filter(pk=job.pk).update(data_access=Job.DataAccess.YES)
    store_access_code(job, code="4711")
    first, second = Part.objects.order_by("pk")[:2]
    first.substitutes.add(second)
    RecoveryCode.objects.create(user=User.objects.first(), code_hash="0" * 64)
    VerifiedBackup.objects.create(
        file="shop-2026-01-01.zip", taken_at=now, verified_at=now, rows=1, size=1
    )


if __name__ == "__main__":
    main()
