"""The pictures in README.md, taken anew from a demo shop of their own."""

import os
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
WHERE = ROOT / "shopdesk" / "pictures"
SIZE = {"width": 1200, "height": 860}


def main(data):
    os.environ |= {"SHOPDESK_DATA": data, "DJANGO_SETTINGS_MODULE": "shopdesk.settings"}
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    sys.path.insert(0, str(ROOT))
    for command in (["migrate", "-v", "0"], ["demo"]):
        manage = [sys.executable, ROOT / "manage.py", *command]
        subprocess.run(manage, check=True, stdout=subprocess.DEVNULL)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = subprocess.Popen(
        [sys.executable, "-m", "gunicorn", "-b", f"127.0.0.1:{port}", "shopdesk.wsgi"],
        cwd=ROOT,
        stderr=subprocess.DEVNULL,
    )
    try:
        take(f"http://127.0.0.1:{port}")
    finally:
        server.terminate()
        server.wait()


def take(site):
    import django
    from playwright.sync_api import sync_playwright

    django.setup()
    WHERE.mkdir(exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=os.environ.get("CHROMIUM", "/usr/bin/chromium"),
            args=["--no-sandbox", "--disable-gpu"],
        )
        page = browser.new_page(viewport=SIZE, base_url=site, locale="en-GB")
        page.set_default_timeout(30_000)
        enter(page, site)
        for name, show in SHOWN.items():
            show(page)
            page.wait_for_load_state("networkidle")
            page.screenshot(path=WHERE / f"{name}.png")
        customer(browser, site)
        browser.close()
    paper()
    for picture in WHERE.glob("*.png"):
        lighten(picture)


def enter(page, site):
    """Signed in as the demo's owner, once the server answers."""
    from django.conf import settings
    from django.test import Client

    from shopdesk.staff.models import User

    client = Client()
    client.force_login(User.objects.get(kind="owner"))
    cookie = client.cookies[settings.SESSION_COOKIE_NAME]
    page.context.add_cookies([{"name": cookie.key, "value": cookie.value, "url": site}])
    for _ in range(100):
        try:
            page.goto("/")
            return
        except Exception:  # not up yet
            time.sleep(0.2)
    raise SystemExit("The server does not answer.")


def book_in(page):
    from repairs.jobs.models import Job, Repair

    here = Job.objects.open().values("device")
    last = (
        Repair.objects.filter(warranty_until__isnull=False, job__outcome="fixed")
        .exclude(job__device__serial="")
        .exclude(job__device__in=here)
        .latest("warranty_until")
    )
    page.goto("/counter/")
    page.keyboard.type(last.job.device.serial, delay=50)
    page.locator(".choice").first.wait_for()
    page.keyboard.press("Enter")
    page.get_by_text("It was here before").wait_for()


def bench(page):
    """The job whose fault the shop has met most often, where its fixes are told."""
    from repairs.jobs.models import Job

    jobs = Job.objects.filter(state__in=("diagnosed", "quoted", "approved"))
    job = max(jobs, key=lambda job: job.repairs.first().fault.repairs.count())
    page.goto(f"/bench/{job.pk}/")
    page.wait_for_load_state("networkidle")
    page.get_by_role("heading", name="Fault and fix").evaluate(
        "heading => window.scrollTo(0, heading.offsetTop - 90)"
    )


def hand_over(page):
    from repairs.jobs.models import Job

    job = Job.objects.filter(state="ready", outcome="fixed").first()
    page.goto(f"/till/hand-back/{job.pk}/")


def draft(page):
    """A quote being written, where the price is built up."""
    from billing.quotes.models import Quote

    page.goto(Quote.objects.drafts().last().get_absolute_url())
    page.wait_for_load_state("networkidle")
    page.get_by_text("Costs us").first.evaluate(
        "said => window.scrollTo(0, said.offsetTop - 700)"
    )


def customer(browser, site):
    """The link that the demo tells of, on a telephone."""
    from django.conf import settings

    said = (settings.DATA_DIR / "papers" / "customers-link.txt").read_text()
    path = "/q/" + said.strip().split("/q/")[1]
    page = browser.new_page(viewport={"width": 390, "height": 900}, base_url=site)
    page.goto(path)
    page.screenshot(path=WHERE / "customer.png")


SHOWN = {
    "today": lambda page: page.goto("/"),
    "counter": book_in,
    "bench": bench,
    "draft": draft,
    "hand-back": hand_over,
    "comebacks": lambda page: page.goto("/comebacks/"),
}


def paper():
    """A quote as it is handed over, from its kept PDF."""
    from billing.quotes.models import Quote

    sent = Quote.objects.exclude(pdf_sha256="").order_by("-id")
    quote = max(sent[:10], key=lambda quote: quote.options.count())
    with tempfile.NamedTemporaryFile(suffix=".pdf") as file:
        file.write(bytes(quote.paper))
        file.flush()
        subprocess.run(
            ["pdftoppm", "-r", "72", "-png", "-singlefile", file.name, WHERE / "quote"],
            check=True,
        )


def lighten(picture):
    """Few colours are enough for ink on paper, and keep the project small."""
    from PIL import Image

    with Image.open(picture) as image:
        few = image.convert("RGB").quantize(48, method=Image.Quantize.MEDIANCUT)
    few.save(picture, optimize=True)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as data:
        main(data)
