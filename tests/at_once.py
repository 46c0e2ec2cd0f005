"""Concurrent actions, each with its own database connection."""

import threading

from django.db import connection


def all_at_once(*actions):
    """Run all `actions` at the same moment and return the exceptions they raised."""
    start = threading.Barrier(len(actions))
    errors = []

    def run(action):
        try:
            start.wait(timeout=20)
            action()
        except Exception as error:
            errors.append(error)
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=[action]) for action in actions]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=90)
    assert not any(thread.is_alive() for thread in threads)
    return errors
