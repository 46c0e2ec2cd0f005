"""Database triggers for SQLite and PostgreSQL.

A `ForbidChange` refuses a change; a `ChangeMarkTrigger` leaves a mark when something
changes. Conditions are plain SQL for both engines; OLD is the row before, NEW the row
after.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol


class Trigger(Protocol):
    @property
    def name(self) -> str: ...

    def create(self, vendor: str) -> list[str]:
        """Return the statements that create it."""

    def drop(self, vendor: str) -> list[str]:
        """Return the statements that drop it."""


@dataclass(frozen=True)
class ForbidChange:
    """Refuses `event` (UPDATE, DELETE or INSERT) on `table` if `when` is true.

    `why` is the error message; `rule` tells several guards of one event on one table
    apart.
    """

    table: str
    event: str
    why: str
    when: str = "1=1"
    rule: str = ""

    @property
    def name(self) -> str:
        name = f"guard_{self.table}_{self.event.lower()}"
        return f"{name}_{self.rule}" if self.rule else name

    def create(self, vendor: str) -> list[str]:
        why = self.why.replace("'", "''")
        before = f"CREATE TRIGGER {self.name} BEFORE {self.event} ON {self.table}"
        if vendor == "sqlite":
            when = self.when.replace("IS DISTINCT FROM", "IS NOT")
            when = when.replace("IS NOT DISTINCT FROM", "IS")
            return [f"{before} WHEN {when} BEGIN SELECT RAISE(ABORT, '{why}'); END"]
        kept = "OLD" if self.event == "DELETE" else "NEW"
        return [
            f"CREATE FUNCTION {self.name}() RETURNS trigger LANGUAGE plpgsql AS"
            f" $$ BEGIN IF {self.when} THEN RAISE EXCEPTION USING MESSAGE ="
            f" '{why}', ERRCODE = 'check_violation'; END IF; RETURN {kept}; END $$",
            f"{before} FOR EACH ROW EXECUTE FUNCTION {self.name}()",
        ]

    def drop(self, vendor: str) -> list[str]:
        return _drop(self.name, vendor=vendor)


@dataclass(frozen=True)
class ChangeMarkTrigger:
    """Any change of `columns` of `table`, any new or deleted row, leaves a new mark.

    Marks are in the table `marks`: (table_name, written_in, mark). SQLite has one
    writer at a time and one mark a table. In PostgreSQL every transaction has its own
    mark, so that none waits for another.
    """

    table: str
    columns: tuple[str, ...]
    marks: str

    @property
    def name(self) -> str:
        return f"notice_{self.table}"

    def create(self, vendor: str) -> list[str]:
        update = f"UPDATE OF {', '.join(self.columns)}"
        written_in, mark = {
            "sqlite": ("0", "random() >> 11"),
            "postgresql": (
                "pg_current_xact_id()::text::bigint",
                "(random() * 9007199254740992)::bigint",
            ),
        }[vendor]
        leave = (
            f"INSERT INTO {self.marks} (table_name, written_in, mark)"
            f" VALUES ('{self.table}', {written_in}, {mark})"
            " ON CONFLICT (table_name, written_in) DO UPDATE SET mark = excluded.mark"
        )
        if vendor == "sqlite":
            return [
                f"CREATE TRIGGER {self.name}_{event.split()[0].lower()} AFTER {event}"
                f" ON {self.table} BEGIN {leave}; END"
                for event in ("INSERT", "DELETE", update)
            ]
        return [
            f"CREATE FUNCTION {self.name}() RETURNS trigger LANGUAGE plpgsql AS"
            f" $$ BEGIN {leave}; RETURN NULL; END $$",
            f"CREATE TRIGGER {self.name} AFTER INSERT OR DELETE OR {update}"
            f" ON {self.table} FOR EACH STATEMENT EXECUTE FUNCTION {self.name}()",
        ]

    def drop(self, vendor: str) -> list[str]:
        if vendor == "sqlite":
            events = ("insert", "delete", "update")
            return [f"DROP TRIGGER IF EXISTS {self.name}_{event}" for event in events]
        return _drop(self.name, vendor=vendor)


def append_only(
    table: str, why: str, *, unless: str = "", unless_deleted: str = ""
) -> list[ForbidChange]:
    """Return guards of a table whose rows are written once.

    An update is allowed where `unless` is true, a deletion where `unless_deleted` is.
    """
    return [
        ForbidChange(table, "UPDATE", why, when=_unless(unless)),
        ForbidChange(table, "DELETE", why, when=_unless(unless_deleted)),
    ]


def _unless(condition: str) -> str:
    return f"NOT ({condition})" if condition else "1=1"


def erases(personal: str, *, others: str, of: str) -> str:
    """Return a condition: an update only empties `personal` columns, as erasure does.

    `others` are all other columns of the table, which must stay as they are; `of` is a
    condition: the customer of the row is erased.
    """
    emptied = [
        f"(OLD.{c} IS NOT DISTINCT FROM NEW.{c}"
        f" OR length(coalesce(NEW.{c}, '')) = 0 OR NEW.{c} = 'erased')"
        for c in personal.split()
    ]
    return " AND ".join([f"NOT {changed(*others.split())}", *emptied, of])


def changed(*columns: str) -> str:
    """Return a condition that is true if one of `columns` would change."""
    return "(" + " OR ".join(f"OLD.{c} IS DISTINCT FROM NEW.{c}" for c in columns) + ")"


def follows(
    *, table: str, column: str, of: str, link: str, why: str
) -> list[ForbidChange]:
    """Return guards of a column that must equal the same one of the row in `link`."""
    there = f"(SELECT {column} FROM {of} WHERE id = NEW.{link})"
    differs = f"NEW.{column} IS DISTINCT FROM {there}"
    return [
        ForbidChange(table, "INSERT", why, when=differs),
        ForbidChange(
            table, "UPDATE", why, when=f"{changed(column, link)} AND {differs}"
        ),
    ]


def create(triggers: Iterable[Trigger], *, vendor: str) -> list[str]:
    """Return the statements that create `triggers` on the database engine `vendor`."""
    triggers = list(triggers)
    made = [statement for each in triggers for statement in each.create(vendor)]
    return drop(triggers, vendor=vendor) + made


def drop(triggers: Iterable[Trigger], *, vendor: str) -> list[str]:
    """Return the statements that drop `triggers`."""
    return [statement for each in triggers for statement in each.drop(vendor)]


def _drop(name: str, *, vendor: str) -> list[str]:
    if vendor == "sqlite":
        return [f"DROP TRIGGER IF EXISTS {name}"]
    return [f"DROP FUNCTION IF EXISTS {name}() CASCADE"]
