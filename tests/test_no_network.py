"""The guard of conftest.py holds."""

import socket

import pytest

# 192.0.2.0/24 is kept for examples (RFC 5737): nobody is there.
NOBODY = ("192.0.2.1", 80)


def test_a_test_cannot_connect_to_another_machine():
    with socket.socket() as line, pytest.raises(RuntimeError, match="192.0.2.1"):
        line.connect(NOBODY)
    with socket.socket() as line, pytest.raises(RuntimeError, match="192.0.2.1"):
        line.connect_ex(NOBODY)


def test_a_test_cannot_send_to_another_machine():
    kind = socket.SOCK_DGRAM
    with socket.socket(type=kind) as line, pytest.raises(RuntimeError):
        line.sendto(b"hello", NOBODY)


def test_a_test_cannot_look_up_a_name():
    with pytest.raises(RuntimeError, match="example.org"):
        socket.getaddrinfo("example.org", 80)


def test_a_test_may_talk_to_itself(tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as server:
        socket.create_connection(server.getsockname(), timeout=5).close()
    path = str(tmp_path / "line")
    with socket.socket(socket.AF_UNIX) as server:
        server.bind(path)
        server.listen()
        with socket.socket(socket.AF_UNIX) as line:
            line.connect(path)


def test_the_browser_cannot_look_up_a_name(page):
    with pytest.raises(Exception, match="ERR_NAME_NOT_RESOLVED"):
        page.goto("http://example.org/")
