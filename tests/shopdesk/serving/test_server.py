"""The server reloads and stops without losing requests, and says where it listens."""

import http.client
import os
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time

import pytest

from tests.shopdesk.serving.conftest import (
    ROOT,
    Server,
    Visitor,
    free_port,
    request,
    wait_until,
)

pytestmark = pytest.mark.once


class Load:
    """Four visitors ask for pages, each on a new connection, until told to stop."""

    def __init__(self, server):
        self.server, self.statuses, self.errors = server, [], []
        self.stop = threading.Event()
        self.threads = [threading.Thread(target=self._visit) for _ in range(4)]

    def __enter__(self):
        for thread in self.threads:
            thread.start()
        return self

    def __exit__(self, *error):
        self.stop.set()
        for thread in self.threads:
            thread.join()

    def _visit(self):
        visitor = Visitor(self.server.port)
        while not self.stop.is_set():
            began = time.monotonic()
            try:
                self.statuses.append(visitor.get("/staff/sign-in/").status)
            except OSError as error:
                self.errors.append((began, error))
            time.sleep(0.02)


def workers(server):
    listed = subprocess.run(
        ["ps", "-o", "pid=", "--ppid", str(server.process.pid)],
        capture_output=True,
        text=True,
    )
    return set(listed.stdout.split())


def test_a_reload_loses_no_request(make_server):
    server = make_server()
    with Load(server) as load:
        for _ in range(2):
            wait_until(lambda: len(workers(server)) == 2)
            before, count = workers(server), len(load.statuses)
            server.process.send_signal(signal.SIGHUP)
            wait_until(lambda before=before: not before & workers(server))
            wait_until(lambda count=count: len(load.statuses) > count + 20)
    assert load.errors == []
    assert set(load.statuses) == {200} and len(load.statuses) > 40
    assert server.process.poll() is None


def test_a_stop_lets_running_requests_finish(make_server):
    server = make_server()
    with Load(server) as load:
        wait_until(lambda: len(load.statuses) > 20)
        told = time.monotonic()
        server.process.send_signal(signal.SIGTERM)
        server.process.wait(timeout=35)
        load.stop.set()
    assert server.process.returncode == 0
    assert set(load.statuses) == {200}
    assert [error for began, error in load.errors if began < told - 0.5] == []
    assert "Traceback" not in server.log


def test_a_slow_request_is_answered_after_the_stop(make_server):
    """Its form arrives only once the server has been told to stop."""
    server = make_server()
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=30)
    connection.putrequest("POST", "/staff/sign-in/")
    connection.putheader("Content-Type", "application/x-www-form-urlencoded")
    connection.putheader("Content-Length", "10")
    connection.endheaders(b"usern")
    time.sleep(0.5)
    server.process.send_signal(signal.SIGTERM)
    time.sleep(1)
    connection.send(b"ame=x")
    answer = connection.getresponse()
    assert answer.status == 403  # without the token of a form
    server.process.wait(timeout=35)


IN_A_TERMINAL = """
import fcntl, os, sys, termios
os.setsid()
fcntl.ioctl(0, termios.TIOCSCTTY, 0)
os.execv(sys.executable, [sys.executable, "-m", "gunicorn", "shopdesk.wsgi"])
"""


def test_the_server_stops_when_its_terminal_is_closed(shop_file, tmp_path):
    """Closing one sends SIGHUP, which is a reload for a server without one."""
    shutil.copy(shop_file, tmp_path / "desk.sqlite3")
    server = Server(tmp_path)
    ours, its = os.openpty()
    process = subprocess.Popen(
        [sys.executable, "-c", IN_A_TERMINAL],
        cwd=ROOT,
        env=server.environment,
        stdin=its,
        stdout=its,
        stderr=its,
    )
    try:
        os.close(its)
        wait_until(server.is_up)
        os.close(ours)
        process.wait(timeout=35)
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)


def test_the_server_names_no_software(make_server):
    server = make_server()
    with socket.create_connection(("127.0.0.1", server.port), timeout=30) as raw:
        raw.sendall(b"no request at all\r\n\r\n")
        answer = raw.recv(65536).lower()
    assert b"400" in answer and b"gunicorn" not in answer
    traced = request(server.port, "TRACE", "/", headers={"Cookie": "sid=canary"})
    assert traced.status == 405 and "canary" not in traced.text
    for path in ("/health/", "/none/", "/static/shopdesk/desk.css"):
        assert server.get(path).headers["Server"] == "web"


def run_config(**settings):
    environment = {"PATH": os.environ["PATH"]} | settings
    return subprocess.run(
        [sys.executable, "gunicorn.conf.py"],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
    )


@pytest.mark.parametrize(
    ("settings", "sentence"),
    [
        ({"PORT": "x"}, "PORT must be a number"),
        ({"BIND": "shop.example"}, "BIND must be an address of this machine"),
        ({"BIND": "203.0.113.9", "PORT": str(free_port())}, "is not available at"),
    ],
)
def test_a_wrong_address_is_refused_with_a_sentence(settings, sentence):
    ran = run_config(**settings)
    assert ran.returncode == 1 and sentence in ran.stderr
    assert "Traceback" not in ran.stderr


def test_a_port_in_use_is_refused_but_not_by_the_reload(make_server):
    server = make_server()
    ran = run_config(PORT=str(server.port))
    assert ran.returncode == 1 and "is not available" in ran.stderr


@pytest.mark.parametrize(
    ("settings", "warns"),
    [
        ({}, False),
        ({"BIND": "0.0.0.0"}, True),
        ({"BIND": "0.0.0.0", "HTTPS": "1", "PROXIES": "1"}, False),
    ],
)
def test_listening_to_the_network_without_https_is_warned_about(
    make_server, settings, warns
):
    server = make_server(**settings)
    assert ("without HTTPS" in server.log) is warns
    assert "ALLOWED_HOSTS" in server.log or not warns
