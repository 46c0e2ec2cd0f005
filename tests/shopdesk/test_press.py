"""The press: so long for a paper and no longer, and whatever befalls it, the next
paper is made as ever."""

import os
import signal
import subprocess
import sys
import threading
import time
from io import BytesIO
from pathlib import Path

import pikepdf
import pytest

from shopdesk.press import PRESS, PaperFailed, Press

PAGE = "size: A4 portrait;"


def asked(main="<h1>Slip</h1>", **facts):
    html = f"<html lang=en><title>Slip</title><body>{main}</body></html>"
    return {"of": "a test", "html": html, "page": PAGE, "inside": None, **facts}


# Each box lays out the next one twice and more: 13 of them take minutes.
FLEX = '<div style="display: flex">' * 15 + "x" + "</div>" * 15


@pytest.fixture(scope="module")
def press():
    """One for all of them, since it takes a second to warm up."""
    press = Press(seconds=2)
    yield press
    press.stop()


def program(press):
    press.pdf(asked())
    return press._program


def test_a_layout_that_runs_away_is_ended_in_time(press):
    """In a thread, as the shop is served by such: none of them could set an alarm."""
    running, said = program(press), []

    def print_it():
        began = time.monotonic()
        try:
            press.pdf(asked(FLEX))
        except PaperFailed as failed:
            said.append((str(failed), time.monotonic() - began))

    thread = threading.Thread(target=print_it)
    thread.start()
    thread.join(20)
    [(sentence, took)] = said
    assert "longer than 2 seconds" in sentence
    assert 1.9 < took < 4
    assert running.returncode == -signal.SIGALRM, "and nothing of it runs on"
    assert press.pdf(asked()).startswith(b"%PDF")


def test_the_limit_is_for_each_paper_and_not_for_all(press):
    running = program(press)
    time.sleep(press.seconds + 0.3)
    assert press.pdf(asked()).startswith(b"%PDF")
    assert press._program is running


def test_threads_that_print_at_once_get_each_their_own(press):
    titles = [f"Slip {n}" for n in range(8)]
    made = {}

    def print_it(title):
        html = asked()["html"].replace("<title>Slip", f"<title>{title}")
        made[title] = press.pdf(asked(html=html))

    threads = [threading.Thread(target=print_it, args=[title]) for title in titles]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    opened = {title: pikepdf.open(BytesIO(pdf)) for title, pdf in made.items()}
    assert {title: str(pdf.docinfo.Title) for title, pdf in opened.items()} == {
        title: title for title in titles
    }


def test_a_press_that_was_killed_is_set_up_anew(press):
    first = program(press)
    first.kill()
    first.wait()
    assert press.pdf(asked()).startswith(b"%PDF")
    assert press._program is not first


def test_a_press_that_breaks_down_over_a_paper_is_told(tmp_path, monkeypatch):
    press = Press()
    breaks = "import os; os.kill(os.getpid(), 9)"
    (tmp_path / "weasyprint.py").write_text(breaks)
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    with pytest.raises(PaperFailed, match="broke down"):
        press.pdf(asked())
    monkeypatch.undo()
    assert press.pdf(asked()).startswith(b"%PDF")


def test_what_goes_wrong_inside_is_a_sentence(capfd):
    press = Press()
    with pytest.raises(PaperFailed, match="could not be drawn: KeyError"):
        press.pdf({"html": "", "page": PAGE})
    assert "Traceback" in capfd.readouterr().err, "and is in the log"
    assert press.pdf(asked()).startswith(b"%PDF")
    press.stop()


def test_a_missing_library_is_told_with_what_to_install(tmp_path, monkeypatch):
    press = Press()
    (tmp_path / "weasyprint.py").write_text("raise OSError('cannot load libpango')")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    with pytest.raises(PaperFailed, match="libpango-1.0-0"):
        press.pdf(asked())


def test_what_was_asked_and_not_waited_for_is_not_taken_for_the_next(
    press, monkeypatch
):
    """As when somebody presses Ctrl-C in the middle of a command."""
    first = program(press)

    class Interrupted:
        closed, close = False, first.stdout.close

        def readline(self):
            raise KeyboardInterrupt

    monkeypatch.setattr(first, "stdout", Interrupted())
    with pytest.raises(KeyboardInterrupt):
        press.pdf(asked("<h1>Another</h1>"))
    assert first.returncode is not None
    assert press.pdf(asked()) == press.pdf(asked())


def test_it_leaves_nothing_behind(press):
    folder = program(press) and Path(press._folder)
    assert any(folder.iterdir())
    press.stop()
    assert not folder.exists()


def test_it_goes_when_we_are_gone():
    """Even if we were killed and could not say so."""
    source = (
        "import os, tests.shopdesk.test_press as t\n"
        "print(t.program(t.PRESS).pid, flush=True)\n"
        "os.kill(os.getpid(), 9)"
    )
    killed = subprocess.run([sys.executable, "-c", source], capture_output=True)
    assert killed.returncode == -signal.SIGKILL
    pid = int(killed.stdout)
    for _ in range(100):
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            return
        time.sleep(0.05)
    pytest.fail("It still runs.")


COPIED = """
import os
from tests.shopdesk.test_press import PRESS, asked, program

ours = program(PRESS)
if not (copy := os.fork()):
    theirs = program(PRESS)
    PRESS.stop()
    os._exit(theirs.pid == ours.pid)
assert os.waitpid(copy, 0)[1] == 0
assert PRESS.pdf(asked()) and program(PRESS) is ours
"""


def test_a_copy_of_this_process_has_a_press_of_its_own():
    subprocess.run([sys.executable, "-c", COPIED], check=True)


def test_the_shop_waits_for_the_press_no_longer_than_for_a_record(settings):
    assert PRESS.seconds == 15
    if "timeout" in settings.DATABASES["default"]["OPTIONS"]:
        assert PRESS.seconds < settings.DATABASES["default"]["OPTIONS"]["timeout"]
