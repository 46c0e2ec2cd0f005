"""A server that is killed while people save: nothing acknowledged is lost."""

import os
import random
import signal
import subprocess

from tests.faults import sound
from tests.faults.busy_shop import Person, Work, booking, deposit, minutes, part
from tests.shopdesk.serving.conftest import wait_until

ROUNDS = int(os.environ.get("FAULT_ROUNDS", 1))
SEED = int(os.environ.get("FAULT_SEED", 1))


def workers(server):
    command = ["ps", "-o", "pid=", "--ppid", str(server.process.pid)]
    listed = subprocess.run(command, capture_output=True, text=True, check=False)
    return sorted(map(int, listed.stdout.split()))


def kill_a_worker(server, draw):
    os.kill(draw.choice(workers(server)), signal.SIGKILL)


def kill_all(server, draw):
    os.killpg(server.process.pid, signal.SIGKILL)
    server.process.wait()


def test_what_was_acknowledged_is_there_and_nothing_is_there_twice(server):
    draw = random.Random(SEED)
    server.start()
    people = [Person(server.port, kind) for kind in (minutes, part, deposit, booking)]
    for person in people:
        person.sign_in()
    unanswered = 0
    for kill in [kill_a_worker, kill_all] * ROUNDS:
        with Work(people) as work:
            enough = work.count() + draw.randint(8, 16)
            wait_until(lambda enough=enough, work=work: work.count() >= enough)
            # The slowest of them all: its receipt is drawn before it is answered.
            wait_until(lambda: people[2].is_sending)
            kill(server, draw)
        unanswered += check_that_all_is_there(people)
        if server.process.poll() is not None:
            server.start()
        wait_until(lambda: len(workers(server)) == 2 and server.is_up())
        for person in people:
            person.send_again()
            assert person.unanswered == []
            assert person.saved() == sorted(person.tags(of=person.acknowledged))
    assert [answer for one in people for answer in one.answers] == []
    assert all(one.acknowledged for one in people)
    assert unanswered, "nothing was under way"
    server.stop()
    assert list(sound.wrong()) == []


def check_that_all_is_there(people):
    """Nothing acknowledged is missing; beyond it there is only what was under way."""
    for person in people:
        saved, acknowledged = person.saved(), person.tags(of=person.acknowledged)
        assert len(saved) == len(set(saved)), "something was saved twice"
        assert acknowledged <= set(saved)
        assert set(saved) - acknowledged <= person.tags(of=person.unanswered)
    return sum(len(person.unanswered) for person in people)
