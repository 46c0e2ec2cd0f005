"""What the database itself sees to, on SQLite and on PostgreSQL, by triggers.

A `Guard` refuses a change. What is `Carried` is written down twice and always the same.
What is `LaidOut` is a table that is always what a query finds. What is `Noticed` leaves
a mark when it changes. Conditions are plain SQL that both engines read; OLD is the row
before, NEW the row after.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol


class Trigger(Protocol):
    @property
    def name(self) -> str: ...

    def create(self, vendor: str) -> list[str]:
        """The statements that set it up."""

    def drop(self, vendor: str) -> list[str]:
        """The statements that take it down."""


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

    def create(self, vendor: str) -> list[str]:
        why = self.why.replace("'", "''")
        before = f"CREATE TRIGGER {self.name} BEFORE {self.event} ON {self.table}"
        if vendor == "sqlite":
            when = self.when.replace("IS DISTINCT FROM", "IS NOT")
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
class Carried:
    """`column` of `table` takes every new value of the same column of `of`, in the rows
    whose `link` points there.
    """

    table: str
    column: str
    of: str
    link: str

    @property
    def name(self) -> str:
        return f"carry_{self.of}_{self.column}"

    def create(self, vendor: str) -> list[str]:
        after = f"CREATE TRIGGER {self.name} AFTER UPDATE OF {self.column} ON {self.of}"
        carry = (
            f"UPDATE {self.table} SET {self.column} = NEW.{self.column}"
            f" WHERE {self.link} = NEW.id"
        )
        if vendor == "sqlite":
            when = changed(self.column).replace("IS DISTINCT FROM", "IS NOT")
            return [f"{after} WHEN {when} BEGIN {carry}; END"]
        return [
            f"CREATE FUNCTION {self.name}() RETURNS trigger LANGUAGE plpgsql AS"
            f" $$ BEGIN {carry}; RETURN NULL; END $$",
            f"{after} FOR EACH ROW WHEN {changed(self.column)}"
            f" EXECUTE FUNCTION {self.name}()",
        ]

    def drop(self, vendor: str) -> list[str]:
        return _drop(self.name, vendor=vendor)


@dataclass(frozen=True)
class Change:
    """A change of a row of `table`, after which the rows `which` are looked up again:
    a condition on the rows of a source, named `s`, by OLD and NEW. `event` is INSERT,
    DELETE or UPDATE, this of one of `columns` only.

    PostgreSQL first takes the `locks`, or else one on the rows `which`: of two who
    change what one row is made from, the second must see what the first one did.
    """

    table: str
    event: str
    which: str
    columns: tuple[str, ...] = ()
    locks: tuple[str, ...] = ()


@dataclass(frozen=True)
class LaidOut:
    """The rows of `table` are at all times what `query` finds of the rows of `source`,
    which it names `s`, one for each or none: its first column is the row's id, in
    `columns` as in the query. `query` is without a condition on `s` alone, so that a
    WHERE can follow.
    """

    table: str
    columns: tuple[str, ...]
    source: str
    query: str
    changes: tuple[Change, ...]

    def name(self, change: Change) -> str:
        return f"lay_{self.table}_{change.table}_{change.event.lower()}"

    def again(self, which: str) -> list[str]:
        """The statements that find the rows `which` anew."""
        key, names = self.columns[0], ", ".join(self.columns)
        return [
            f"DELETE FROM {self.table} WHERE {key} IN"
            f" (SELECT s.id FROM {self.source} s WHERE {which})",
            f"INSERT INTO {self.table} ({names}) {self.query} WHERE {which}",
        ]

    def create(self, vendor: str) -> list[str]:
        made = [
            statement
            for change in self.changes
            for statement in self._create(change, vendor)
        ]
        # What changed while nobody looked is found now.
        return [*made, f"DELETE FROM {self.table}", *self.again("1 = 1")[1:]]

    def _create(self, change: Change, vendor: str) -> list[str]:
        name, event, when = self.name(change), change.event, ""
        if change.columns:
            event += f" OF {', '.join(change.columns)}"
            when = f"WHEN {changed(*change.columns)}"
        after = f"CREATE TRIGGER {name} AFTER {event} ON {change.table}"
        again = "; ".join(self.again(change.which))
        if vendor == "sqlite":
            when = when.replace("IS DISTINCT FROM", "IS NOT")
            return [f"{after} {when} BEGIN {again}; END"]
        locks = change.locks or (
            f"SELECT 1 FROM {self.source} s WHERE {change.which}"
            " ORDER BY s.id FOR UPDATE",
        )
        first = "; ".join(lock.replace("SELECT", "PERFORM", 1) for lock in locks)
        return [
            # Its plan is made when the tables may still be empty, and kept for all the
            # rows of a long file: by the indexes it is right for both.
            f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql"
            " SET enable_seqscan = off"
            f" AS $$ BEGIN {first}; {again}; RETURN NULL; END $$",
            f"{after} FOR EACH ROW {when} EXECUTE FUNCTION {name}()",
        ]

    def drop(self, vendor: str) -> list[str]:
        return [
            statement
            for change in self.changes
            for statement in _drop(self.name(change), vendor=vendor)
        ]


@dataclass(frozen=True)
class Noticed:
    """Any change of `columns` of `table`, and any row that comes or goes, leaves a new
    mark in the table `marks`: (what, written_in, mark).

    SQLite has one writer at a time and one mark a table. In PostgreSQL every
    transaction has a mark of its own, so that none waits for another.
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
            f"INSERT INTO {self.marks} (what, written_in, mark)"
            f" VALUES ('{self.table}', {written_in}, {mark})"
            " ON CONFLICT (what, written_in) DO UPDATE SET mark = excluded.mark"
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


def append_only(table: str, why: str) -> list[Guard]:
    """Guards of a table whose rows are written once."""
    return [Guard(table, "UPDATE", why), Guard(table, "DELETE", why)]


def changed(*columns: str) -> str:
    """A condition that holds where one of `columns` would change."""
    return "(" + " OR ".join(f"OLD.{c} IS DISTINCT FROM NEW.{c}" for c in columns) + ")"


def follows(*, table: str, column: str, of: str, link: str, why: str) -> list[Trigger]:
    """What keeps a column equal to the same column of the row that `link` points at: a
    change there is carried on, and here none is let in that says otherwise.
    """
    there = f"(SELECT {column} FROM {of} WHERE id = NEW.{link})"
    differs = f"NEW.{column} IS DISTINCT FROM {there}"
    return [
        Guard(table, "INSERT", why, when=differs),
        Guard(table, "UPDATE", why, when=f"{changed(column, link)} AND {differs}"),
        Carried(table=table, column=column, of=of, link=link),
    ]


def create(triggers: Iterable[Trigger], *, vendor: str) -> list[str]:
    """The statements that set up `triggers` on the database engine `vendor`."""
    triggers = list(triggers)
    made = [statement for each in triggers for statement in each.create(vendor)]
    return drop(triggers, vendor=vendor) + made


def drop(triggers: Iterable[Trigger], *, vendor: str) -> list[str]:
    """The statements that take `triggers` down again."""
    return [statement for each in triggers for statement in each.drop(vendor)]


def _drop(name: str, *, vendor: str) -> list[str]:
    if vendor == "sqlite":
        return [f"DROP TRIGGER IF EXISTS {name}"]
    return [f"DROP FUNCTION IF EXISTS {name}() CASCADE"]
