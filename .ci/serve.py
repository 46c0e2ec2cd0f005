"""Settings for gunicorn: `gunicorn -c .ci/serve.py shopdesk.wsgi`.

Run as a script, it only checks that the port is free.
"""

import os
import socket

_port = os.environ.get("PORT", "8000")
bind = f"127.0.0.1:{_port}"
worker_class = "gthread"
workers = 2
# More threads would not help: a page is computed, it does not wait.
threads = 2
# Without it one worker may get all connections of a browser.
reuse_port = True
control_socket_disable = True
loglevel = "warning"


def when_ready(server):
    print(f"The shop runs at http://{bind}/ (press Ctrl-C to stop).", flush=True)


def check_port():
    """Exit if the port is in use; with reuse_port two shops would share it."""
    if not (_port.isascii() and _port.isdigit() and 0 < int(_port) < 65536):
        raise SystemExit(f"PORT must be a number from 1 to 65535, not {_port!r}.")
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", int(_port)))
            probe.listen()
        except OSError as refusal:
            raise SystemExit(
                f"Port {_port} is not available ({refusal.strerror}). "
                "Use another port, for example PORT=8001."
            ) from None


check_port()
