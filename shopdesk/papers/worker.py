"""Draw each document in a child process, which is ended after 15 seconds.

Other work on what may not end, such as uploaded pictures, is done in such a child, too.
A layout that does not finish can only be ended with its process, and only a main thread
can set an alarm. The children are copies of a server process that has loaded the
library and the fonts; it starts with the first document and ends with this process.
"""

import math
import os
import signal
import traceback
from collections.abc import Callable
from multiprocessing import forkserver, get_context
from multiprocessing.connection import Connection
from typing import Any, TypeVar, cast

from shopdesk.errors import PdfError, RefusedError
from shopdesk.plain_gettext import gettext

# A document may be drawn while a record is locked, and others wait 20 seconds for it.
MAX_SECONDS = 15.0
Given = TypeVar("Given")
Made = TypeVar("Made")
RenderRequest = dict[str, Any]
"""What a document is made of, as `shopdesk.papers.render` states it."""


def draw_pdf(request: RenderRequest, *, max_seconds: float = MAX_SECONDS) -> bytes:
    """Return the PDF that `shopdesk.papers.weasy` makes of `request`.

    Raises: PdfError, which says why there is none.
    """
    try:
        return run_in_child(_draw, request, max_seconds=max_seconds)
    except TimeoutError:
        raise PdfError(
            gettext("The PDF took more than %(max_seconds)s seconds and was cancelled.")
            % {"max_seconds": f"{max_seconds:g}"}
        ) from None
    except EOFError:
        raise PdfError(gettext("The PDF could not be created. Try again.")) from None


def _draw(request: RenderRequest) -> bytes:
    try:
        from shopdesk.papers import weasy

        return weasy.draw(request)
    except PdfError:
        raise
    except ImportError as error:
        raise PdfError(str(error)) from None
    except Exception as error:
        traceback.print_exc()
        raise PdfError(
            gettext("The PDF could not be created: %(error)s") % {"error": repr(error)}
        ) from None


def run_in_child(
    work: Callable[[Given], Made], given: Given, *, max_seconds: float
) -> Made:
    """Return what `work`, a function of a module, makes of `given` in a child process.

    Raises: RefusedError as `work` does; TimeoutError if it took too long and was
    ended; EOFError if the child died.
    """
    answers, ours = _processes.Pipe(duplex=False)
    arguments = (ours, work, given, max_seconds)
    child = _processes.Process(target=_answer, args=arguments, daemon=True)
    try:
        child.start()
        # The child now has the only copy: if it dies, reading ends.
        ours.close()
        if not answers.poll(max_seconds):
            raise TimeoutError
        made, refusal = answers.recv()
    finally:
        answers.close()
        ours.close()
        if child.pid:
            child.kill()
            child.join()
    if refusal is not None:
        raise refusal
    return cast(Made, made)


def _answer(
    answers: Connection, work: Callable[[Any], Any], given: Any, max_seconds: float
) -> None:
    """Send what was made, or by which error it was refused."""
    # Ends this process if the parent is gone.
    signal.alarm(math.ceil(max_seconds) + 1)
    answer: tuple[Any, RefusedError | None]
    try:
        answer = work(given), None
    except RefusedError as refusal:
        answer = None, refusal
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
