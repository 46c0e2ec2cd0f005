"""A mail server of a few lines, to send real letters to."""

import socketserver
import threading
from contextlib import contextmanager


class Talk(socketserver.StreamRequestHandler):
    def say(self, line):
        self.wfile.write(f"{line}\r\n".encode())

    def handle(self):
        office = self.server
        self.say("220 office")
        while line := self.rfile.readline().decode().strip():
            word = line.split()[0].upper()
            if word == "QUIT":
                self.say("221 bye")
                return
            if word == "RCPT" and office.refuses:
                self.say(office.refuses)
            elif word == "DATA":
                self.say("354 go on")
                read = []
                while (part := self.rfile.readline()) != b".\r\n":
                    read.append(part)
                office.got.append(b"".join(read))
                if office.hangs_up:
                    return
                self.say("250 taken")
            else:
                self.say("250 office" if word == "EHLO" else "250 fine")


class Office(socketserver.ThreadingTCPServer):
    allow_reuse_address = True
    daemon_threads = True

    def __init__(self, *, refuses="", hangs_up=False):
        super().__init__(("127.0.0.1", 0), Talk)
        self.got, self.refuses, self.hangs_up = [], refuses, hangs_up


@contextmanager
def open_office(settings, **how):
    """A mail server for as long as the block lasts; the settings lead to it."""
    with Office(**how) as office:
        threading.Thread(target=office.serve_forever, daemon=True).start()
        settings.MAIL_URL = "smtp://office"
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT = office.server_address
        settings.EMAIL_TIMEOUT = 5
        yield office
        office.shutdown()
