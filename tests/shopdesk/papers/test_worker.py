"""Each document has so long and no longer, and whatever happens to one, the next one is
drawn as usual."""

import os
import signal
import subprocess
import sys
import threading
import time
from io import BytesIO
from multiprocessing import active_children, forkserver
from pathlib import Path

import pikepdf

from shopdesk.errors import PdfError
from shopdesk.papers.worker import MAX_SECONDS, draw_pdf

ROOT = Path(__file__).resolve().parents[3]
# Each box lays out the next one twice and more: 13 of them take minutes.
FLEX = '<div style="display: flex">' * 15 + "x" + "</div>" * 15


def request(main="<h1>Slip</h1>", *, title="Slip"):
    html = f"<html lang=en><title>{title}</title><body>{main}</body></html>"
    page = "size: A4 portrait;"
    return {"template": "a test", "html": html, "page": page, "embedded": None}


def server():
    """The process id of the server that is copied for each document."""
    draw_pdf(request())
    return forkserver._forkserver._forkserver_pid


def run(source, **env):
    """Run `source` in a process of its own."""
    start = "from tests.shopdesk.papers.test_worker import *\n"
    return subprocess.run(
        [sys.executable, "-c", start + source],
        cwd=ROOT,
        env={**os.environ, **env},
        capture_output=True,
        text=True,
    )


def is_gone(pid):
    """Whether the process ends within five seconds."""
    for _ in range(100):
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            return True
        time.sleep(0.05)
    return False


def test_a_layout_that_runs_away_is_ended_in_time():
    """In a thread, as the shop is served by such: none of them could set an alarm."""
    running, refusals = server(), []

    def draw():
        began = time.monotonic()
        try:
            draw_pdf(request(FLEX), max_seconds=2)
        except PdfError as error:
            refusals.append((str(error), time.monotonic() - began))

    thread = threading.Thread(target=draw)
    thread.start()
    time.sleep(1)
    [child] = active_children()
    thread.join(20)
    [(sentence, seconds)] = refusals
    assert "more than 2 seconds" in sentence
    assert 1.9 < seconds < 4
    assert is_gone(child.pid)
    assert server() == running, "and the server does not start again"


def test_a_runaway_whose_caller_was_killed_ends_all_the_same():
    source = """
threading.Timer(1.5, lambda: (
    print(server(), *(c.pid for c in active_children()), flush=True),
    os.kill(os.getpid(), 9),
)).start()
draw_pdf(request(FLEX), max_seconds=2)
"""
    killed = run(source)
    assert killed.returncode == -signal.SIGKILL
    pids = [int(pid) for pid in killed.stdout.split()]
    assert len(pids) == 2
    assert all(map(is_gone, pids))


def test_threads_that_draw_at_once_each_get_their_own_document():
    titles = [f"Slip {n}" for n in range(8)]
    drawn = {}

    def draw(title):
        drawn[title] = draw_pdf(request(title=title))

    threads = [threading.Thread(target=draw, args=[title]) for title in titles]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    opened = {title: pikepdf.open(BytesIO(pdf)) for title, pdf in drawn.items()}
    assert {title: str(pdf.docinfo.Title) for title, pdf in opened.items()} == {
        title: title for title in titles
    }


def test_a_server_that_was_killed_is_started_again():
    first = server()
    os.kill(first, signal.SIGKILL)
    time.sleep(0.2)
    assert server() != first


def test_a_document_whose_process_dies_is_refused(tmp_path):
    (tmp_path / "weasyprint.py").write_text(
        "import multiprocessing, os\n"
        "if multiprocessing.parent_process(): os.kill(os.getpid(), 9)\n"
        "raise ImportError('only the process of a document shall die')\n"
    )
    died = run("draw_pdf(request())", PYTHONPATH=str(tmp_path))
    assert "PdfError: The PDF could not be created. Try again." in died.stderr


def test_what_goes_wrong_inside_is_a_sentence_and_logged():
    source = """
try:
    draw_pdf({"html": "", "page": ""})
except PdfError as error:
    print(error)
assert draw_pdf(request()).startswith(b"%PDF")
"""
    wrong = run(source)
    assert wrong.stdout.startswith("The PDF could not be created: KeyError")
    assert "Traceback" in wrong.stderr and "KeyError: 'embedded'" in wrong.stderr


def test_a_missing_library_is_reported_with_what_to_install(tmp_path):
    (tmp_path / "weasyprint.py").write_text("raise OSError('cannot load libpango')")
    missing = run("draw_pdf(request())", PYTHONPATH=str(tmp_path))
    assert "PdfError: PDF documents need the Pango library" in missing.stderr
    assert "libpango-1.0-0" in missing.stderr


def test_an_interrupted_document_ends_and_is_not_taken_for_the_next():
    """As when somebody presses Ctrl-C in the middle of a command."""
    source = """
server()
# What is started in the background may be told to ignore it.
signal.signal(signal.SIGINT, signal.default_int_handler)
threading.Timer(1, os.kill, [os.getpid(), signal.SIGINT]).start()
try:
    draw_pdf(request(FLEX))
except KeyboardInterrupt:
    assert active_children() == []
assert draw_pdf(request("<h1>Next</h1>")) == draw_pdf(request("<h1>Next</h1>"))
print("done")
"""
    ran = run(source)
    assert ran.stdout == "done\n", ran.stderr


def test_nothing_is_left_behind(tmp_path):
    """Even if the process was killed and could clear nothing away."""
    source = """
print(server(), len(os.listdir(os.environ["TMPDIR"])), flush=True)
os.kill(os.getpid(), 9)
"""
    killed = run(source, TMPDIR=str(tmp_path))
    assert killed.returncode == -signal.SIGKILL
    pid, folders = map(int, killed.stdout.split())
    assert folders > 0
    assert is_gone(pid)
    assert [f.name for f in tmp_path.iterdir() if "weasyprint" in f.name] == []


def test_a_copy_of_a_process_starts_a_server_of_its_own():
    source = """
ours = server()
if not (copy := os.fork()):
    os._exit(server() == ours)
assert os.waitpid(copy, 0)[1] == 0
assert server() == ours
print("done")
"""
    assert run(source).stdout == "done\n"


def test_two_servers_draw_the_same_bytes():
    source = (
        "from hashlib import sha256; print(sha256(draw_pdf(request())).hexdigest())"
    )
    first, second = run(source), run(source)
    assert first.stdout == second.stdout != ""


def test_the_shop_waits_for_a_document_no_longer_than_for_a_record(settings):
    assert MAX_SECONDS == 15
    if "timeout" in settings.DATABASES["default"]["OPTIONS"]:
        assert settings.DATABASES["default"]["OPTIONS"]["timeout"] > MAX_SECONDS
