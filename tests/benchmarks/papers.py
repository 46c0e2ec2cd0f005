"""What does our printing cost beside the library's own?

    python -m tests.benchmarks.papers [--turns N]

A quote of one page is drawn by `render_pdf` (with template and worker) and by bare
WeasyPrint from the same HTML with the same sheet, already parsed, and our typefaces;
both warm, turn by turn. Then the page of the same quote is opened as staff open it,
which must draw nothing. Its database is its own and is taken away again.
"""

import argparse
import os
import tempfile
import time
from io import BytesIO
from statistics import median
from unittest import mock

import pikepdf

MOST_RATIO = 1.3


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--turns", type=int, default=40)
    turns = asked.parse_args().turns
    with tempfile.TemporaryDirectory() as folder:
        os.environ.update(
            SHOPDESK_DATA=folder, DJANGO_SETTINGS_MODULE="shopdesk.settings"
        )
        os.environ.pop("DATABASE_URL", None)
        import django

        django.setup()
        measure(turns)


def measure(turns: int) -> None:
    from django.core.management import call_command

    from billing.quotes import papers as quotes
    from shopdesk.papers import render, weasy
    from shopdesk.papers.render import render_pdf
    from tests import make
    from tests.benchmarks.machine import described
    from tests.billing import till

    call_command("migrate", verbosity=0)
    make.shop(name="The Second Spark", address="3 Mill Row", paper="A4")
    with mock.patch.object(quotes, "render_pdf", wraps=render_pdf) as seen:
        quote = till.sent()
    (template, context), how = seen.call_args
    with mock.patch.object(render, "draw_pdf", wraps=render.draw_pdf) as drawing:
        kept = render_pdf(template, context, **how)
    told = drawing.call_args.args[0]

    def ours() -> bytes:
        return render_pdf(template, context, **how)

    def bare() -> bytes:
        import weasyprint

        made: bytes = weasyprint.HTML(string=told["html"]).write_pdf(
            stylesheets=[weasy.style_sheet(told["page"])],
            font_config=weasy.FONTS,
            pdf_variant="pdf/ua-1",
        )
        return made

    assert len(pikepdf.open(BytesIO(kept)).pages) == 1
    times: dict[str, list[float]] = {"ours": [], "bare": []}
    for turn in range(turns + 3):
        for name, draw in (("ours", ours), ("bare", bare)):
            began = time.perf_counter()
            draw()
            if turn >= 3:  # the first ones warm up
                times[name].append((time.perf_counter() - began) * 1000)
    again, drawn = second_print(quote, turns)

    best = {name: min(each) for name, each in times.items()}
    middle = {name: median(each) for name, each in times.items()}
    print(described("weasyprint", "django"))
    print(
        f"a quote of one page, {len(told['html']):,} letters of HTML, {turns} turns\n"
    )
    print("| | best, ms | middle, ms |")
    print("| --- | ---: | ---: |")
    for name, word in (("ours", "render_pdf"), ("bare", "bare WeasyPrint")):
        print(f"| {word} | {best[name]:.1f} | {middle[name]:.1f} |")
    print(f"| the kept paper opened again | {min(again):.1f} | {median(again):.1f} |")
    ratio = best["ours"] / best["bare"]
    is_met = "met" if ratio <= MOST_RATIO else "NOT met"
    print(
        f"\n- render_pdf ÷ bare: {ratio:.2f} by the best,"
        f" {middle['ours'] / middle['bare']:.2f} by the middle, aimed at at most"
        f" {MOST_RATIO}: {is_met}"
    )
    word = "met" if not drawn else "NOT met"
    print(f"- papers drawn by opening the kept one {turns} times: {drawn}: {word}")


def second_print(quote, turns: int) -> tuple[list[float], int]:
    """The milliseconds of each answer, and how often it was drawn."""
    from django.test import Client
    from django.urls import reverse

    from shopdesk.papers import render
    from tests import make

    client, took = Client(headers={"host": "localhost"}), []
    client.force_login(make.user())
    with mock.patch.object(render, "draw_pdf", wraps=render.draw_pdf) as drawing:
        for _ in range(turns):
            began = time.perf_counter()
            answer = client.get(reverse("quotes:paper", args=[quote.pk]))
            took.append((time.perf_counter() - began) * 1000)
            assert b"".join(answer) == bytes(quote.pdf)
    return took, drawing.call_count


if __name__ == "__main__":
    main()
