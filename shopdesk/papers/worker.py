"""Draw each document in a child process, which is ended after 15 seconds.

A layout that does not finish can only be ended with its process, and only a main thread
can set an alarm. The children are copies of a server process that has loaded the
library and the fonts; it starts with the first document and ends with this process.
"""

import math
import os
import signal
import traceback
from multiprocessing import forkserver, get_context
from multiprocessing.connection import Connection
from typing import Any

from shopdesk.errors import PdfError

# A document may be drawn while a record is locked, and others wait 20 seconds for it.
MAX_SECONDS = 15.0
RenderRequest = dict[str, Any]
"""What a document is made of, as `shopdesk.papers.render` states it."""


def draw_pdf(request: RenderRequest, *, max_seconds: float = MAX_SECONDS) -> bytes:
    """Return the PDF that `shopdesk.papers.weasy` makes of `request`.

    Raises: PdfError, which says why there is none.
    """
    answers, ours = _processes.Pipe(duplex=False)
    arguments = (ours, request, max_seconds)
    child = _processes.Process(target=_answer, args=arguments, daemon=True)
    try:
        child.start()
        # The child now has the only copy: if it dies, reading ends.
        ours.close()
        if not answers.poll(max_seconds):
            raise PdfError(
                f"The PDF took more than {max_seconds:g} seconds and was cancelled."
            )
        is_drawn, answer = answers.recv()
    except EOFError:
        raise PdfError("The PDF could not be created. Try again.") from None
    finally:
        answers.close()
        ours.close()
        if child.pid:
            child.kill()
            child.join()
    if not is_drawn:
        raise PdfError(answer)
    return bytes(answer)


def _answer(answers: Connection, request: RenderRequest, max_seconds: float) -> None:
    """Send whether the document could be drawn, and its bytes or the error."""
    # Ends this process if the parent is gone.
    signal.alarm(math.ceil(max_seconds) + 1)
    answer: tuple[bool, bytes | str]
    try:
        from shopdesk.papers import weasy

        answer = True, weasy.draw(request)
    except (ImportError, PdfError) as error:
        answer = False, str(error)
    except Exception as error:
        traceback.print_exc()
        answer = False, f"The PDF could not be created: {error!r}"
    answers.send(answer)


def _forget_server() -> None:
    """Let a copy of this process start its own server.

    Only the process that started a server can ask whether it still runs.
    """
    forkserver.ForkServer.__init__(forkserver._forkserver)
    _processes.set_forkserver_preload(PRELOAD)


PRELOAD = ["shopdesk.papers.weasy"]
_processes = get_context("forkserver")
_processes.set_forkserver_preload(PRELOAD)
os.register_at_fork(after_in_child=_forget_server)
