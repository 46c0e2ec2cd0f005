"""Rows that the database itself refuses to change, on SQLite and on PostgreSQL.

A `Guard` becomes one trigger. Conditions are plain SQL that both engines read; OLD is
the row before, NEW the row after.
"""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Guard:
    """`event` (UPDATE, DELETE or INSERT) on `table` is refused where `when` holds.

    `why` is the sentence the database answers with.
    """

    table: str
    event: str
    why: str
    when: str = "1=1"

    @property
    def name(self) -> str:
        return f"guard_{self.table}_{self.event.lower()}"


def append_only(table: str, why: str) -> list[Guard]:
    """Guards of a table whose rows are written once."""
    return [Guard(table, "UPDATE", why), Guard(table, "DELETE", why)]


def changed(*columns: str) -> str:
    """A condition that holds where one of `columns` would change."""
    return "(" + " OR ".join(f"OLD.{c} IS DISTINCT FROM NEW.{c}" for c in columns) + ")"


def create(guards: Iterable[Guard], *, vendor: str) -> list[str]:
    """The statements that set up `guards` on the database engine `vendor`."""
    statements = drop(guards := list(guards), vendor=vendor)
    for guard in guards:
        why = guard.why.replace("'", "''")
        if vendor == "sqlite":
            when = guard.when.replace("IS DISTINCT FROM", "IS NOT")
            statements.append(
                f"CREATE TRIGGER {guard.name} BEFORE {guard.event} ON {guard.table}"
                f" WHEN {when} BEGIN SELECT RAISE(ABORT, '{why}'); END"
            )
        else:
            kept = "OLD" if guard.event == "DELETE" else "NEW"
            statements += [
                f"CREATE FUNCTION {guard.name}() RETURNS trigger LANGUAGE plpgsql AS"
                f" $$ BEGIN IF {guard.when} THEN RAISE EXCEPTION USING MESSAGE ="
                f" '{why}', ERRCODE = 'check_violation'; END IF; RETURN {kept}; END $$",
                f"CREATE TRIGGER {guard.name} BEFORE {guard.event} ON {guard.table}"
                f" FOR EACH ROW EXECUTE FUNCTION {guard.name}()",
            ]
    return statements


def drop(guards: Iterable[Guard], *, vendor: str) -> list[str]:
    """The statements that take `guards` down again."""
    if vendor == "sqlite":
        return [f"DROP TRIGGER IF EXISTS {guard.name}" for guard in guards]
    return [f"DROP FUNCTION IF EXISTS {guard.name}() CASCADE" for guard in guards]
