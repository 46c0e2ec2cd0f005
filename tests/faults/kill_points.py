"""Run a command again and again, each time killed before another of its statements.

One process that forks, since a start takes longer than the command: a child runs the
command, and ends as in a power cut before a statement drawn at random. Prints one line
of JSON: what was in the database after each kill, and after a last run to the end.

    python -m tests.faults.kill_points COPY ROUNDS SEED COMMAND [WORD …]

COPY is the address of a copy of the database, in which statements are counted first.
"""

import json
import os
import random
import signal
import sys

import django


def main(copy, rounds, seed, *words):
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopdesk.settings")
    django.setup()
    from django.core.management import call_command
    from django.db import connection

    def run():
        call_command(*words, verbosity=0)

    draw, own = random.Random(int(seed)), connection.settings_dict["NAME"]
    connection.settings_dict["NAME"] = copy
    status, total, _ = in_child(run)
    assert status == 0, "the command fails by itself"
    connection.settings_dict["NAME"] = own
    before = state()
    kills = []
    for _ in range(int(rounds)):
        # The run that is counted makes some statements more than one that is killed.
        at = draw.randint(1, total - total // 10)
        status, _, found = in_child(run, at=at)
        kills.append({"at": at, "status": status, "state": found})
        if found != before:
            break
    status, _, after = in_child(run)
    found = {"total": total, "before": before, "kills": kills}
    print(json.dumps(found | {"status": status, "after": after}))


def in_child(act, *, at=0):
    """Act in a child, killed before statement `at`.

    Returns the child's status, the number of its statements and the state it left.
    """
    from django.db import connection

    connection.close()
    reader, writer = os.pipe()
    child = os.fork()
    if not child:
        os.close(reader)
        status, count = 1, Count(at)
        try:
            with connection.execute_wrapper(count):
                act()
            os.write(writer, str(count.n).encode())
            status = 0
        except BaseException as error:
            print(f"{type(error).__name__}: {error}", file=sys.stderr)
        finally:
            os._exit(status)
    os.close(writer)
    with os.fdopen(reader) as pipe:
        said = pipe.read()
    status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    return status, int(said or 0), state()


class Count:
    """Counts statements and ends the process before one of them."""

    def __init__(self, at):
        self.n, self.at = 0, at

    def __call__(self, execute, sql, params, many, context):
        self.n += 1
        if self.n == self.at:
            os.kill(os.getpid(), signal.SIGKILL)
        return execute(sql, params, many, context)


def state():
    """Return the number of rows of each table of the shop that has any."""
    from django.apps import apps
    from django.db import connection

    from shopdesk.keeping import tables

    models = tables.stored_models(apps)
    rows = {model._meta.db_table: model._base_manager.count() for model in models}
    connection.close()
    # Each restore and import is an event; whether it was noted is no matter here.
    rows.pop("shopdesk_trailentry", None)
    return {table: n for table, n in sorted(rows.items()) if n}


if __name__ == "__main__":
    main(*sys.argv[1:])
