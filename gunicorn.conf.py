"""Settings of the server, which gunicorn reads by itself: `gunicorn shopdesk.wsgi`.

Run as a script, it only checks that the address is free. It is read again at each
reload (SIGHUP), so nothing in it may fail because the server runs.
"""

import os
import signal
import socket
from ipaddress import ip_address

import environ
from gunicorn.http import wsgi

_host = os.environ.get("BIND") or "127.0.0.1"
_port = os.environ.get("PORT") or "8000"
_address = f"[{_host}]" if ":" in _host else _host

bind = f"{_address}:{_port}"
worker_class = "gthread"
# More would not help: a page is computed, it does not wait. All accept connections from
# one socket, since those that wait at a worker's own are lost when it ends.
workers = threads = 2
timeout = 60
# How long requests may go on after SIGTERM or SIGHUP; a paper may take 15 s.
graceful_timeout = 30
keepalive = 5
# A new process from time to time, should memory leak; not both at once.
max_requests, max_requests_jitter = 5000, 1000
control_socket_disable = True
loglevel = "warning"
# The header Server cannot be left out, but it names no software.
wsgi.SERVER = "web"

UNPROTECTED = f"""
WARNING: other machines can reach the shop at port {_port}, and without HTTPS. Whoever
can listen on the network can read passwords and the data of customers. Use this only
on a network that you trust; OPERATIONS.md says how to set up HTTPS.
The setting ALLOWED_HOSTS must name the address by which others open the shop.
"""


def when_ready(server):
    print(f"The shop runs at http://{bind}/ (press Ctrl-C to stop).", flush=True)
    if is_unprotected():
        print(UNPROTECTED, flush=True)
    server.had_terminal = has_terminal()


def on_reload(server):
    """Stop instead, if the reload is a terminal that was closed.

    It sends SIGHUP, too, and nobody would see that the server still runs.
    """
    if server.had_terminal and not has_terminal():
        os.kill(os.getpid(), signal.SIGTERM)


def has_terminal():
    try:
        os.close(os.open("/dev/tty", os.O_RDWR | os.O_NOCTTY))
    except OSError:
        return False
    return True


def is_unprotected():
    """Whether other machines can reach the server, and without HTTPS."""
    https = environ.Env().bool("HTTPS", default=False)
    return not ip_address(_host).is_loopback and not https


def check_address():
    """Exit with a sentence if BIND or PORT is wrong or in use."""
    if not (_port.isascii() and _port.isdigit() and 0 < int(_port) < 65536):
        raise SystemExit(f"PORT must be a number from 1 to 65535, not {_port!r}.")
    try:
        version = ip_address(_host).version
    except ValueError:
        raise SystemExit(
            "BIND must be an address of this machine, such as 192.168.1.20, or 0.0.0.0"
            f" for all of them, not {_host!r}."
        ) from None
    family = socket.AF_INET6 if version == 6 else socket.AF_INET
    with socket.socket(family) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((_host, int(_port)))
            probe.listen()
        except OSError as refusal:
            raise SystemExit(
                f"Port {_port} is not available at {_host} ({refusal.strerror})."
                " Use another port, for example PORT=8001."
            ) from None


if __name__ == "__main__":
    check_address()
