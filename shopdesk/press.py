"""The press: a program beside ours that draws papers, and has only so long for each.

Started with the first paper and kept warm; the threads of a process take turns at it.
It goes when we go, since then no more lines come.
"""

import atexit
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
from base64 import b64decode
from contextlib import suppress
from pathlib import Path
from typing import Any

from shopdesk.errors import PdfError

ROOT = Path(__file__).resolve().parent.parent
# A paper may be drawn while a record is kept, and others wait 20 seconds for that.
SECONDS = 15.0


class PaperFailed(PdfError):
    """A paper could not be made, for a reason that stands in the sentence."""


class Press:
    """One such program at most, started when there is something to draw."""

    def __init__(self, *, seconds: float = SECONDS) -> None:
        self.seconds = seconds
        self._turn = threading.Lock()
        self._program: subprocess.Popen[bytes] | None = None
        self._owner = 0
        self._folder = ""

    def pdf(self, asked: dict[str, Any]) -> bytes:
        """What `shopdesk.drawing` makes of `asked`; PaperFailed says why it does not.

        A press that was gone before it was asked is set up anew, once.
        """
        line = json.dumps(asked).encode() + b"\n"
        with self._turn:
            said = self._say(line) or self._say(line)
            if not said:
                raise PaperFailed("The paper could not be drawn: the press broke down.")
        answer = json.loads(said)
        if "failed" in answer:
            raise PaperFailed(answer["failed"])
        return b64decode(answer["pdf"])

    def _say(self, line: bytes) -> bytes:
        """The answer, or nothing if the press broke down over it."""
        program = self._started()
        assert program.stdin and program.stdout
        try:
            program.stdin.write(line)
            program.stdin.flush()
            said = program.stdout.readline()
        except BrokenPipeError:
            said = b""
        except BaseException:
            # Half asked, half answered: what came next would get the wrong paper.
            self.stop()
            raise
        if not said.endswith(b"\n"):
            code = program.wait()
            self._clear_away()
            if code == -signal.SIGALRM:
                raise PaperFailed(
                    f"The paper took longer than {self.seconds:g} seconds to draw and "
                    "was given up."
                )
            return b""
        return said

    def _started(self) -> subprocess.Popen[bytes]:
        # A copy of this process has none of its own yet, and must not share ours.
        if self._program and self._owner == os.getpid():
            return self._program
        self._owner = os.getpid()
        # What it lays down on the way is cleared away by us, as it may end any time.
        self._folder = tempfile.mkdtemp(prefix="shopdesk-press-")
        self._program = subprocess.Popen(
            [sys.executable, "-m", "shopdesk.drawing", str(self.seconds)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            cwd=ROOT,
            # Ctrl-C is for us; it goes when we are gone.
            start_new_session=True,
            env={**os.environ, "TMPDIR": self._folder},
        )
        return self._program

    def stop(self) -> None:
        """End the program, if it is ours; the next paper starts another."""
        if self._program and self._owner == os.getpid():
            self._program.kill()
            self._program.wait()
            self._clear_away()

    def _clear_away(self) -> None:
        program, self._program = self._program, None
        for pipe in (program.stdin, program.stdout) if program else ():
            assert pipe
            # What it was not able to read any more is of no use now.
            with suppress(BrokenPipeError):
                pipe.close()
        shutil.rmtree(self._folder, ignore_errors=True)


PRESS = Press()
atexit.register(PRESS.stop)
