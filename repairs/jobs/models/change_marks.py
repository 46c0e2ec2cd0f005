"""Marks of change, left by the database itself."""

from django.db import connection, models

MOST = 1_000  # marks kept apart


class ChangeMarkQuerySet(models.QuerySet):
    def marks(self) -> dict[str, int]:
        """A number for each kind of record: another one after any change of it."""
        rows = list(self.order_by().values_list("table_name", "mark"))
        if len(rows) > MOST:
            self._put_together()
        marks: dict[str, int] = {}
        for table_name, mark in rows:
            marks[table_name] = (marks.get(table_name, 0) + mark) % ChangeMark.ROUND
        return marks

    def _put_together(self) -> None:
        """One mark for many, of the same sum, so that the numbers stay as they are."""
        table = connection.ops.quote_name(self.model._meta.db_table)
        with connection.cursor() as cursor:
            cursor.execute(
                f"WITH old AS (SELECT id FROM {table} FOR UPDATE SKIP LOCKED),"
                f" gone AS (DELETE FROM {table} WHERE id IN (SELECT id FROM old)"
                " RETURNING table_name, mark)"
                f" INSERT INTO {table} (table_name, written_in, mark)"
                " SELECT table_name, -pg_current_xact_id()::text::bigint,"
                f" mod(sum(mark), {ChangeMark.ROUND}) FROM gone GROUP BY table_name"
            )


class ChangeMark(models.Model):
    """That records of a kind have changed: a mark by chance, so that no two states of
    the database share one, not even after it was put back from a backup.

    Nobody but the database writes here: `repairs/guards.py` says when.
    """

    ROUND = 2**53

    table_name = models.CharField(max_length=63, editable=False)
    # The transaction that wrote it; none of SQLite's, which has one writer at a time.
    written_in = models.BigIntegerField(editable=False)
    mark = models.BigIntegerField(editable=False)

    objects = ChangeMarkQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["table_name", "written_in"],
                name="changed_one_mark_a_transaction",
            ),
        ]

    def __str__(self):
        return f"{self.table_name}: {self.mark}"
