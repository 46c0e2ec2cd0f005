"""What an update must not change: rows, sums of money, the monthly table."""

import json
import sys
from datetime import date
from hashlib import sha256
from io import StringIO
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
APPS = ("shopdesk", "repairs", "billing")


def facts_of_database(*, on: date) -> dict:
    """Return the rows of each table, the sum of each amount, and the monthly table."""
    from django.apps import apps
    from django.core.management import call_command
    from django.db.models import Sum

    from shopdesk.fields import FixedDecimalField
    from shopdesk.keeping.tables import stored_models

    rows, sums = {}, {}
    for model in stored_models(apps):
        table, found = model._meta.db_table, model._base_manager.all()
        rows[table] = found.count()
        for field in model._meta.concrete_fields:
            if isinstance(field, FixedDecimalField):
                total = found.aggregate(total=Sum(field.name))["total"]
                sums[f"{table}.{field.column}"] = str(total)
    output = StringIO()
    call_command("comebacks", as_of=on.isoformat(), format="json", stdout=output)
    return {
        "on": on.isoformat(),
        "rows": rows,
        "sums": sums,
        "monthly_table": json.loads(output.getvalue()),
    }


def hashes_of_migrations() -> dict[str, str]:
    """Return the SHA-256 of each migration in the project."""
    return {
        f"{app}/{file.name}": sha256(file.read_bytes()).hexdigest()
        for app in APPS
        for file in sorted((ROOT / app / "migrations").glob("0*.py"))
    }


if __name__ == "__main__":
    import django

    django.setup()
    print(json.dumps(facts_of_database(on=date.fromisoformat(sys.argv[1]))))
