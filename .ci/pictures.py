"""Take the pictures for README.md: complete pages of a demo shop made for them."""

import os
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PICTURES = ROOT / "shopdesk" / "pictures"
DESKTOP = {"width": 1280, "height": 800}
PHONE = {"width": 390, "height": 800}
MARGIN = 16
COLOURS = 64


def main(data):
    os.environ |= {
        "SHOPDESK_DATA": data,
        "DATABASE_URL": "",
        "DJANGO_SETTINGS_MODULE": "shopdesk.settings",
        "DJANGO_ALLOW_ASYNC_UNSAFE": "true",  # queries beside the browser's loop
    }
    sys.path.insert(0, str(ROOT))
    for command in (["migrate", "-v", "0"], ["demo"], ["nightly"]):
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
        take_all(f"http://127.0.0.1:{port}")
    finally:
        server.terminate()
        server.wait()


def take_all(site):
    import django
    from playwright.sync_api import sync_playwright

    django.setup()
    PICTURES.mkdir(exist_ok=True)
    for old in PICTURES.glob("*.png"):
        old.unlink()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=os.environ.get("CHROMIUM", "/usr/bin/chromium"),
            args=[
                "--no-sandbox",
                "--disable-gpu",
                "--lang=en-GB",
                # Date fields follow the language of the page.
                "--enable-blink-features=LangAttributeAwareFormControlUI",
            ],
        )
        page = browser.new_page(viewport=DESKTOP, base_url=site, locale="en-GB")
        page.set_default_timeout(30_000)
        sign_in(page, site)
        for name, show in PAGES.items():
            show(page)
            take(page, name, until=UNTIL.get(name))
        phone = browser.new_page(viewport=PHONE, base_url=site, locale="en-GB")
        show_customers_page(phone)
        take(phone, "customer")
        browser.close()
    take_quote()


def take(page, name, until=None):
    """Save the whole page, not only what fits a screen; or all `until` a part ends."""
    page.wait_for_load_state("networkidle")
    page.evaluate("document.documentElement.lang = 'en-GB'")
    clip = None
    if until:
        part = page.locator(until).bounding_box()
        bottom = part["y"] + part["height"] + MARGIN
        clip = {"x": 0, "y": 0, "width": DESKTOP["width"], "height": bottom}
    picture = PICTURES / f"{name}.png"
    page.screenshot(path=picture, full_page=True, clip=clip)
    reduce_colours(picture)


def sign_in(page, site):
    """Sign in as the demo's owner, once the server answers."""
    from django.conf import settings
    from django.test import Client

    from shopdesk.staff.models import User

    client = Client()
    client.force_login(User.objects.get(username="owner"))
    cookie = client.cookies[settings.SESSION_COOKIE_NAME]
    page.context.add_cookies([{"name": cookie.key, "value": cookie.value, "url": site}])
    for _ in range(100):
        try:
            page.goto("/")
            return
        except Exception:  # it is not up yet
            time.sleep(0.2)
    raise SystemExit("The server does not answer.")


def show_booking_in(page):
    """Show a device that was here before, found by its serial number."""
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
    page.locator("fieldset.past").wait_for()


def show_job(page):
    """Show a job that was just booked in, with what past jobs say."""
    from repairs.jobs.models import Job

    jobs = Job.objects.filter(state="booked_in", decisions=None)
    job = jobs.filter(has_liquid_damage=False, has_swollen_battery=False).first()
    page.goto(f"/bench/{job.pk}/")
    page.locator("details#what-we-know").wait_for()


def show_quote_draft(page):
    from billing.quotes.models import Quote

    page.goto(Quote.objects.drafts().last().get_absolute_url())


def show_handover(page):
    from repairs.jobs.models import Job

    job = Job.objects.filter(state="ready", outcome="fixed").first()
    page.goto(f"/till/hand-back/{job.pk}/")


def show_customers_page(page):
    """Open the link that the demo prints."""
    from django.conf import settings

    link = (settings.DATA_DIR / "papers" / "customers-link.txt").read_text()
    page.goto("/q/" + link.strip().split("/q/")[1])


PAGES = {
    "today": lambda page: page.goto("/"),
    "counter": show_booking_in,
    "bench": show_job,
    "draft": show_quote_draft,
    "handover": show_handover,
    "comebacks": lambda page: page.goto("/comebacks/?kind=handheld"),
    "month": lambda page: page.goto("/comebacks/month/"),
}
UNTIL = {"month": "section[aria-labelledby=months]"}
"""Pages too long to show whole end with a part of them."""


def take_quote():
    """Save the first page of the demo's sample quote, as customers get it."""
    from django.conf import settings

    quote, picture = settings.DATA_DIR / "papers" / "quote.pdf", PICTURES / "quote"
    command = ["pdftoppm", "-r", "96", "-png", "-singlefile", quote, picture]
    subprocess.run(command, check=True)
    reduce_colours(PICTURES / "quote.png")


def reduce_colours(picture):
    """Keep the file small: few colours are enough for text and lines."""
    from PIL import Image

    method = Image.Quantize.MAXCOVERAGE  # keeps small spots of colour
    with Image.open(picture) as image:
        few = image.convert("RGB").quantize(COLOURS, method=method)
    few.save(picture, optimize=True)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as data:
        main(data)
