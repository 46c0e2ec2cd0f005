"""Two web hosts on one PostgreSQL: each in a network of its own, by `ip netns`."""

import ctypes
import os
import re
import shutil
import subprocess
import sys
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path
from urllib.parse import urlencode

import pytest
from django.db import connection
from lxml import html

from billing.invoices.models import Receipt
from repairs.jobs.models import Job
from shopdesk.mail.actions import write
from shopdesk.mail.models import Email
from shopdesk.staff.models import RequestCount, Role, User
from shopdesk.stamp import Stamp
from tests import make
from tests.at_once import all_at_once
from tests.sent_forms import entries
from tests.shopdesk.serving.conftest import NAME, PASSWORD, ROOT, Server, Visitor

pytestmark = pytest.mark.django_db
DEVICES, EMAILS, BROWSERS = 8, 24, 2
_libc = ctypes.CDLL(None, use_errno=True)


def fill():
    make.shop(owners_need_second_factor=False, email="a@shop.example")
    User.objects.create_user(NAME, PASSWORD, name=NAME, role=Role.OWNER)
    User.objects.create_user("perrin", PASSWORD, name="perrin", role=Role.COUNTER)
    for _ in range(DEVICES + 2):
        make.device()
    fault = make.fault("OLD-CODE")
    fix = make.fix(fault)
    for day in range(1, 13):
        make.past_repair(fault, fix, on=make.DAY.replace(day=day))
    for n in range(EMAILS):
        write(
            f"c{n}@mail.example",
            subject=f"Ready {n}",
            text="Your device is ready.",
            stamp=Stamp.now(),
        )


class Host:
    """A web server in its own network, with its own folder and the shared keys."""

    def __init__(self, name, folder, **settings):
        self.name = name
        self.server = Server(folder, **settings)
        self.port = self.server.port

    @contextmanager
    def network(self):
        """Put this thread, and what it starts, into the host's network."""
        with open("/proc/thread-self/ns/net") as ours, open(self._file) as theirs:
            assert _libc.setns(theirs.fileno(), 0) == 0, os.strerror(ctypes.get_errno())
            try:
                yield
            finally:
                assert _libc.setns(ours.fileno(), 0) == 0

    @property
    def _file(self):
        return Path("/run/netns") / self.name

    def visitor(self, cookies=None):
        visitor = Visitor(self.port)
        visitor.cookies = dict(cookies or {})
        return visitor

    def signed_in(self):
        visitor = self.visitor()
        assert visitor.sign_in().status == 302
        return visitor


def _missing():
    if connection.vendor != "postgresql":
        return "two hosts need PostgreSQL"
    if os.geteuid() != 0 or not shutil.which("ip"):
        return "networks of their own need root and `ip`"
    made = subprocess.run(["ip", "netns", "add", "desk-try"], capture_output=True)
    subprocess.run(["ip", "netns", "delete", "desk-try"], capture_output=True)
    return "" if made.returncode == 0 else f"ip netns: {made.stderr.decode()}"


@pytest.fixture(scope="module")
def hosts(databases, django_db_setup, django_db_blocker, tmp_path_factory):
    if missing := _missing():
        pytest.skip(missing)
    with ExitStack() as stack:
        stack.enter_context(django_db_blocker.unblock())
        stack.enter_context(databases.copy("two_hosts", fill, of="migrated"))
        url, _, parameters = os.environ["DATABASE_URL"].partition("?")
        name = connection.settings_dict["NAME"]
        settings = {
            "DATABASE_URL": f"{url.rpartition('/')[0]}/{name}?{parameters}",
            "SECRET_KEY": "k" * 50,
            "ACCESS_CODE_KEY": "s" * 50,
            "MAIL_URL": "consolemail://",
            "SILENCED_CHECKS": "shopdesk.E002",
        }
        found = []
        for letter in "ab":
            host = Host(
                f"desk-{os.getpid()}-{letter}",
                tmp_path_factory.mktemp(f"host-{letter}"),
                **settings,
            )
            subprocess.run(["ip", "netns", "add", host.name], check=True)
            stack.callback(subprocess.run, ["ip", "netns", "delete", host.name])
            up = ["ip", "-n", host.name, "link", "set", "lo", "up"]
            subprocess.run(up, check=True)
            stack.callback(host.server.stop)
            with host.network():
                host.server.start()
            found.append(host)
        yield found


def in_network(host, act):
    """Return `act`, to be called in a thread of its own, in the network of `host`."""

    def inside():
        with host.network():
            act()

    return inside


def form_of(visitor, path, mark):
    """Return the entries of the form on the page that has the field `mark`."""
    page = visitor.get(path)
    assert page.status == 200, page.text
    forms = html.fromstring(page.text).forms
    return dict(next(entries(f) for f in forms if mark in f.fields))


def send(visitor, path, typed):
    return visitor._send("POST", path, body=urlencode(typed))


def test_forms_at_both_hosts_get_numbers_without_gaps(hosts):
    devices = list(make.Device.objects.order_by("pk")[:DEVICES])
    shares = [devices[n :: 2 * BROWSERS] for n in range(2 * BROWSERS)]
    booked, places = [], []

    def work(host, mine):
        def act():
            visitor = host.signed_in()
            for device in mine:
                sent = form_of(visitor, "/counter/", "complaint") | {
                    "device": device.pk,
                    "customer": device.owner_id,
                    "complaint": "No picture.",
                    "step": "book",
                }
                answer = send(visitor, "/counter/", sent)
                assert answer.status == 302, answer.text
                job = int(re.search(r"\d+", answer.headers["Location"])[0])
                booked.append(job)
                path = f"/till/invoices/job/{job}/"
                sent = form_of(visitor, path, "in-amount")
                sent |= {"in-amount": "5.00", "in-means": "cash"}
                answer = send(visitor, path, sent)
                assert answer.status == 302, answer.text
                places.append(host.name)

        return in_network(host, act)

    assert not all_at_once(
        *(work(hosts[n % 2], share) for n, share in enumerate(shares))
    )
    assert len(set(booked)) == DEVICES and len(set(places)) == 2
    numbers = Job.objects.filter(pk__in=booked).values_list("number", flat=True)
    _assert_no_gaps([int(number.partition("-")[2]) for number in numbers])
    _assert_no_gaps(list(Receipt.objects.values_list("number", flat=True)))


def _assert_no_gaps(numbers):
    assert len(numbers) == DEVICES
    assert sorted(numbers) == list(range(min(numbers), min(numbers) + DEVICES))


def test_one_form_sent_to_both_hosts_acts_once(hosts):
    device = make.Device.objects.order_by("pk")[DEVICES]
    with hosts[0].network():
        first = hosts[0].signed_in()
        sent = form_of(first, "/counter/", "complaint")
    sent |= {"device": device.pk, "customer": device.owner_id, "step": "book"}
    sent |= {"complaint": "No sound."}
    answers = []

    def act(host):
        visitor = host.visitor(first.cookies)
        return in_network(
            host, lambda: answers.append(send(visitor, "/counter/", sent))
        )

    assert not all_at_once(*(act(host) for host in (*hosts, *hosts)))
    assert {answer.status for answer in answers} == {302}
    assert len({answer.headers["Location"] for answer in answers}) == 1
    assert Job.objects.filter(device=device).count() == 1


def test_a_session_is_valid_at_both_hosts_and_ends_at_both(hosts):
    here, there = hosts
    with here.network():
        visitor = here.signed_in()
    with there.network():
        other = there.visitor(visitor.cookies)
        assert other.get("/bench/").status == 200
    with here.network():
        visitor.get("/bench/")
        assert visitor.post("/staff/sign-out/").status == 302
    with there.network():
        answer = other.get("/bench/")
        assert answer.status == 302 and "sign-in" in answer.headers["Location"]


def test_failed_sign_ins_at_both_hosts_count_together(hosts):
    for n in range(6):
        host = hosts[n % 2]
        with host.network():
            host.visitor().sign_in("perrin", "wrong password of the day")
    assert RequestCount.objects.filter(count=6).exists()
    for host in hosts:
        with host.network():
            answer = host.visitor().sign_in("perrin", PASSWORD)
            assert answer.status == 429, (host.name, answer.status)


def test_a_change_shows_at_once_at_both_hosts_whatever_they_cached(hosts):
    for code, other in (("OLD-CODE", "NEW-CODE"), ("NEW-CODE", "OLD-CODE")):
        # Committed at once, as by a third host.
        with closing(connection.copy()) as own, own.cursor() as cursor:
            change = "UPDATE repairs_fault SET code = %s WHERE code = %s"
            cursor.execute(change, [code, other])
        for host in hosts:
            with host.network():
                visitor = host.signed_in()
                for _ in range(2):
                    page = visitor.get("/comebacks/?as_of=2026-06-30").text
                    assert code in page and other not in page, (host.name, code)


def test_two_senders_send_each_email_once(hosts):
    senders = []
    for host in hosts:
        with host.network():
            sender = subprocess.Popen(
                [sys.executable, ROOT / "manage.py", "send_post"],
                env=host.server.environment,
                stdout=subprocess.PIPE,
                text=True,
            )
            senders.append(sender)
    sent = [sender.communicate(timeout=60)[0] for sender in senders]
    assert [sender.returncode for sender in senders] == [0, 0]
    subjects = re.findall(r"^Subject: (Ready \d+)$", "".join(sent), re.MULTILINE)
    assert len(subjects) == len(set(subjects)) == EMAILS
    assert not Email.objects.filter(sent_at=None).exists()


def test_each_host_is_in_a_network_of_its_own(hosts):
    """What the other tests rest on: neither host is reached from the other's side."""
    here, there = hosts
    with here.network(), pytest.raises(ConnectionRefusedError):
        there.visitor().get("/health/")
