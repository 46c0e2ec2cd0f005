"""Several people do something at the same moment, each on a connection of their own."""

import threading

from django.db import connection


def all_at_once(*acts):
    """Do all `acts` together; returns what any of them raised."""
    start = threading.Barrier(len(acts))
    failed = []

    def together(act):
        try:
            start.wait(timeout=20)
            act()
        except Exception as wrong:
            failed.append(wrong)
        finally:
            connection.close()

    threads = [threading.Thread(target=together, args=[act]) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=90)
    assert not any(thread.is_alive() for thread in threads)
    return failed
