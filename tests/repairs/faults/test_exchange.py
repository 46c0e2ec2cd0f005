"""The fault book as a file: the starter book, out and in again, and broken files."""

from collections import Counter

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from repairs.faults import exchange
from repairs.faults.models import Check, Fault, Fix, Symptom
from tests import make
from tests.sent_forms import typed_in

pytestmark = pytest.mark.django_db
HEAD = "entry,code,name,area,symptoms,minutes,faults\n"


@pytest.fixture
def bench(client):
    client.force_login(make.user(role="bench"))
    return client


def counts():
    return {model: model.objects.count() for model in (Symptom, Check, Fault, Fix)}


def test_areas_of_the_starter_book_are_added_once(bench):
    page = reverse("faults:starter")
    shown = bench.get(page)
    assert set(typed_in(shown)) >= {"areas"}
    for _ in range(2):
        assert bench.post(page, {"areas": ["power"]}).url == reverse("faults:book")
        assert set(Fault.objects.values_list("area", flat=True)) == {"power"}
    loose = Fault.objects.get(code="PWR-JACK-LOOSE")
    assert "charges only in one position" in {one.name for one in loose.symptoms.all()}
    assert {fix.code for fix in loose.fixes.all()} == {"JACK-NEW", "JACK-RESOLDER"}
    # A fix of the first area is used for faults of the next one, too.
    bench.post(page, {"areas": ["mechanical"]})
    every = exchange.only_areas(exchange.starter_book(), {"power", "mechanical"})
    named = Counter(row["entry"] for row in every)
    assert (Fault.objects.count(), Fix.objects.count()) == (
        named["fault"],
        named["fix"],
    )
    assert "area" in bench.post(page, {}).context["form"].errors["areas"][0]


def test_the_starter_book_is_whole():
    rows = exchange.starter_book()
    exchange.import_book(rows)
    assert Fault.objects.count() >= 60
    without_fix = Fault.objects.filter(fixes=None)
    assert not without_fix.exists() and not Fault.objects.filter(symptoms=None).exists()
    assert not Check.objects.filter(faults=None).exclude(name__in=RARE).exists()


RARE = {"External display", "Corrosion under the microscope"}


def test_a_book_comes_back_as_it_went_out(bench):
    exchange.import_book(exchange.starter_book())
    Fault.objects.filter(code="AUD-HUM").update(notes="-12 V first", is_retired=True)
    part = make.part("CAP-22")
    Fix.objects.first().usual_parts.create(part=part, quantity=2)
    file, before = bench.get(reverse("faults:csv")).text, counts()
    assert not exchange.import_book(exchange.read_book(file))
    Fix.objects.all().delete()
    for model in (Fault, Check, Symptom):
        model.objects.all().delete()
    upload = SimpleUploadedFile("book.csv", b"\xef\xbb\xbf" + file.encode())
    bench.post(reverse("faults:file"), {"file": upload})
    assert counts() == before and exchange.book_csv() == file


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("code\n", "The first row must have"),
        ("entry,name,colour\n", "There is no column “colour”."),
        (HEAD + "gadget,,X,,,,\n", "Row 2: entry must be"),
        (HEAD + "fault,A-B,Good,,,,\nfault,a b,Bad,,,,\n", "Row 3, code: Use capitals"),
        (HEAD + "fix,F-1,Fix,,,soon,\n", "Row 2, minutes: Enter a whole number"),
        (HEAD + "fix,F-1,Fix,,,5,NO-SUCH\n", "Row 2, faults: Fault NO-SUCH not found."),
        (HEAD + "fault,A-B,Good,,,,,,\n", "Row 2: there are more cells"),
        (HEAD + 'fault,"A-B,Good\n', "unexpected end of data"),
    ],
)
def test_a_broken_file_is_named_with_its_row_and_adds_nothing(bench, text, said):
    upload = SimpleUploadedFile("book.csv", text.encode())
    page = bench.post(reverse("faults:file"), {"file": upload})
    assert said in page.text.replace("&#x27;", "'"), page.text
    assert not any(counts().values())


def test_a_similar_fault_is_named_and_a_code_is_suggested(bench):
    first = make.fault("PWR-JACK-OPEN", "Socket open", area="power", part="socket")
    page = reverse("faults:add")
    typed = typed_in(bench.get(page)) | {"name": "The open socket", "area": "Power"}
    typed |= {"part": "socket", "mode": "open"}
    shown = bench.post(page, typed)
    assert shown.context["form"].similar == [first] and Fault.objects.count() == 1
    bench.post(page, typed | {"add_anyway": "on"})
    assert Fault.objects.latest("pk").code == "PWR-SOCKET-OPEN"
