"""A real server with a shop of its own, and a browser's part of HTTP."""

import http.client
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
from contextlib import ExitStack, contextmanager
from http.cookies import SimpleCookie
from pathlib import Path
from urllib.parse import urlencode

import pytest

ROOT = Path(__file__).resolve().parents[3]
NAME, PASSWORD = "ferris", "quiet lamp over nine tins"
OWNER = f"""
from shopdesk.shop.models import Shop
from shopdesk.staff.models import Role, User
Shop.objects.update_or_create(pk=1, defaults={{"owners_need_second_factor": False}})
for name, role in ({NAME!r}, Role.OWNER), ("perrin", Role.COUNTER):
    User.objects.create_user(name, {PASSWORD!r}, name=name, role=role)
"""


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Server:
    """gunicorn with the settings of the project, in a process group of its own."""

    def __init__(self, data, **settings):
        self.data, self.port = data, free_port()
        kept = {"PATH", "HOME", "LANG", "PYTHONPYCACHEPREFIX", "SILENCED_CHECKS"}
        kept &= set(os.environ)
        self.environment = {name: os.environ[name] for name in kept} | {
            "SHOPDESK_DATA": str(data),
            "PORT": str(self.port),
            **settings,
        }
        self.log_file = data / "server.log"
        self.process = None

    def manage(self, *words):
        command = [sys.executable, ROOT / "manage.py", *words]
        return subprocess.run(
            command, env=self.environment, check=True, capture_output=True, text=True
        ).stdout

    def start(self):
        with self.log_file.open("a") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "gunicorn", "shopdesk.wsgi"],
                cwd=ROOT,
                env=self.environment,
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )
        wait_until(lambda: self.process.poll() is not None or self.is_up())
        assert self.process.poll() is None, self.log

    def is_up(self):
        try:
            return self.get("/health/").status == 200
        except OSError:
            return False

    def stop(self):
        if self.process and self.process.poll() is None:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()

    @property
    def log(self):
        return self.log_file.read_text()

    def get(self, path, **headers):
        return request(self.port, "GET", path, headers=headers)


def request(
    port, method, path, *, headers=None, body=None, context=None, source="127.0.0.1"
):
    """Send one request on a connection of its own; the answer's body is in `text`."""
    kind = http.client.HTTPSConnection if context else http.client.HTTPConnection
    more = {"context": context} if context else {}
    connection = kind("127.0.0.1", port, timeout=60, source_address=(source, 0), **more)
    try:
        connection.request(method, path, body, headers or {})
        answer = connection.getresponse()
        answer.text = answer.read().decode(errors="replace")
        return answer
    finally:
        connection.close()


class Visitor:
    """Keeps cookies and sends the token of the last page with each form."""

    def __init__(self, port, *, context=None, **headers):
        self.port, self.context, self.headers = port, context, headers
        self.cookies, self.token = {}, ""

    def get(self, path):
        return self._send("GET", path)

    def post(self, path, **entries):
        body = urlencode(entries | {"csrfmiddlewaretoken": self.token})
        return self._send("POST", path, body=body)

    def sign_in(self, name=NAME, password=PASSWORD):
        self.get("/staff/sign-in/")
        return self.post("/staff/sign-in/", username=name, password=password)

    def _send(self, method, path, body=None):
        cookies = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        headers = {"Cookie": cookies} | self.headers
        if body is not None:
            headers["Content-Type"] = "application/x-www-form-urlencoded"
            scheme = "https" if self.context else "http"
            headers["Referer"] = f"{scheme}://{headers.get('Host', '')}/"
        answer = request(
            self.port, method, path, headers=headers, body=body, context=self.context
        )
        for line in answer.headers.get_all("Set-Cookie") or ():
            for name, cookie in SimpleCookie(line).items():
                self.cookies[name] = cookie.value
        if found := re.search(r'csrfmiddlewaretoken" value="(\w+)"', answer.text):
            self.token = found[1]
        return answer


def wait_until(is_so, *, seconds=60):
    end = time.monotonic() + seconds
    while not is_so():
        assert time.monotonic() < end, "waited too long"
        time.sleep(0.05)


@pytest.fixture(scope="session")
def shop_file(databases, django_db_setup, tmp_path_factory):
    """The SQLite file of a shop with an owner."""
    from django.db import connection

    if connection.vendor != "sqlite":
        pytest.skip("the server is the same with both databases")
    data = tmp_path_factory.mktemp("shop")
    shutil.copy(databases.shared / "migrated.sqlite3", data / "desk.sqlite3")
    Server(data).manage("shell", "-v", "0", "-c", OWNER)
    return data / "desk.sqlite3"


@contextmanager
def running(shop_file, data, **settings):
    """A server with its own copy of the shop."""
    shutil.copy(shop_file, data / "desk.sqlite3")
    server = Server(data, **settings)
    try:
        server.start()
        yield server
    finally:
        server.stop()


@pytest.fixture
def make_server(shop_file, tmp_path):
    """Start a server with these settings; it is stopped after the test."""
    with ExitStack() as stack:
        yield lambda **settings: stack.enter_context(
            running(shop_file, tmp_path, **settings)
        )
