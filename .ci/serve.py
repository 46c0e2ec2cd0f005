"""How gunicorn serves the shop: `gunicorn -c .ci/serve.py shopdesk.wsgi`.

Run by itself it only says whether the port is free.
"""

import os
import socket

_port = os.environ.get("PORT", "8000")
bind = f"127.0.0.1:{_port}"
worker_class = "gthread"
workers = 2
# More threads only wait for each other: a page is reckoning, not waiting.
threads = 2
# Without it all of a browser's connections may land on one of the two workers.
reuse_port = True
control_socket_disable = True
loglevel = "warning"


def when_ready(server):
    print(f"The shop is open at http://{bind}/ (Ctrl-C closes it).", flush=True)


def check_port():
    """Refuse a port in use; with reuse_port two shops would share it unnoticed."""
    if not (_port.isascii() and _port.isdigit() and 0 < int(_port) < 65536):
        raise SystemExit(f"PORT is to be a number from 1 to 65535, not {_port!r}.")
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", int(_port)))
            probe.listen()
        except OSError as refusal:
            raise SystemExit(
                f"Port {_port} cannot be had ({refusal.strerror}). "
                "Choose another, such as PORT=8001."
            ) from None


check_port()
