from io import BytesIO

import pikepdf
import pytest
import segno
from django.urls import reverse
from django.utils import timezone

from repairs.intake.papers import LABEL_SIZES, render_label_pdf, render_slip_pdf
from repairs.jobs.access_codes import store_access_code
from repairs.jobs.models import Job
from shopdesk.look.qr import QUIET, qr_code
from shopdesk.shop.models import Shop
from tests import make
from tests.papers import text_of

LONG = "thewholethingwithoutabreak" * 60


def slip(job):
    return render_slip_pdf(job, shop=Shop.current())


def booked_in(**facts):
    facts.setdefault("complaint", "Shuts off when <b>warm</b>")
    job = make.job(number=facts.pop("number", "26-00412"), **facts)
    job.transitions.create(to_state=job.state, made_at=timezone.now())
    return job


@pytest.mark.django_db
def test_the_slip_states_what_was_agreed():
    make.shop(name="Marrow & Quill", country="GB", slip_text="Keep this slip.")
    owner = make.customer("Ada Fenwick", phone="+442079460018")
    job = booked_in(
        of=make.device(owner, serial="SN-0O1I"),
        accessories="charger",
        has_swollen_battery=True,
        due_on=make.DAY,
        agreed_diagnosis_fee=25,
    )
    text = text_of(slip(job))
    for said in (
        job.label_code,
        "Marrow & Quill",
        "Ada Fenwick",
        "020 7946 0018",
        "SN-0O1I",
        "Shuts off when <b>warm</b>",
        "charger",
        "Swollen battery",
        "not asked",
        "€30.00 (incl. tax)",
        "2 Mar 2026",
        "Keep this slip.",
    ):
        assert said in text, said


@pytest.mark.paper
@pytest.mark.django_db
@pytest.mark.parametrize(
    ("language", "words"),
    [
        ("en", "If the fault is covered by our warranty, there is no charge."),
        ("de", "Fällt der Fehler unter unsere Garantie, entstehen Ihnen keine Kosten."),
    ],
)
def test_the_slip_of_a_return_in_warranty_claims_no_fee(language, words):
    make.shop(paper_language=language, tax_rate=0)
    fault = make.fault()
    earlier = make.past_repair(fault, make.fix(fault), on=make.DAY)
    for is_in_warranty in (True, False):
        job = booked_in(
            of=earlier.job.device, agreed_diagnosis_fee=25, number=str(is_in_warranty)
        )
        facts = {"assessment": "undecided", "is_in_warranty": is_in_warranty}
        make.decision(job, earlier, **facts)
        text = " ".join(text_of(slip(job)).split())
        assert (words in text) == is_in_warranty
        assert ("25" in text.replace("2025", "")) == (not is_in_warranty)


@pytest.mark.paper
@pytest.mark.django_db
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_slip_is_one_page_of_the_shops_paper(paper):
    make.shop(paper=paper)
    job = booked_in(
        has_liquid_damage=True, has_mains_voltage=True, has_swollen_battery=True
    )
    pages = pikepdf.open(BytesIO(slip(job))).pages
    width = float(pages[0].mediabox[2])
    assert len(pages) == 1 and round(width) == (595 if paper == "A4" else 612)


@pytest.mark.paper
@pytest.mark.django_db
@pytest.mark.parametrize("size", LABEL_SIZES)
@pytest.mark.parametrize("words", ["Hums", LONG, "many short words " * 100, "\n" * 90])
def test_a_label_is_always_one_page_of_its_size(size, words):
    job = booked_in(
        of=make.device(serial="S" * 60, model=make.device_model(model="M" * 80)),
        complaint=words,
        accessories=words[:300],
        has_swollen_battery=True,
        has_liquid_damage=True,
        has_mains_voltage=True,
        due_on=make.DAY,
    )
    paper = render_label_pdf(job, size=size)
    pages = pikepdf.open(BytesIO(paper)).pages
    assert len(pages) == 1
    points = [float(edge) * 25.4 / 72 for edge in pages[0].mediabox[2:]]
    assert [round(edge) for edge in points] == [int(edge) for edge in size.split("x")]
    text = text_of(paper)
    assert job.label_code in text
    assert "Norwind MMMM" in text and "SSSSSSSS" in text
    warned = " ".join(text.split())
    assert "SWOLLEN BATTERY · MAINS · LIQUID" in warned
    assert "data: no access" in text


@pytest.mark.django_db
def test_no_access_code_is_printed():
    job = booked_in(data_access=Job.DataAccess.YES)
    store_access_code(job, code="7294Marmalade")
    for paper in (slip(job), render_label_pdf(job, size="62x29")):
        assert "Marmalade" not in text_of(paper)


@pytest.mark.paper
@pytest.mark.django_db
def test_a_reprint_is_identical_byte_for_byte():
    job = booked_in()
    assert slip(job) == slip(job)


@pytest.mark.paper
@pytest.mark.django_db
def test_markup_in_a_name_fetches_and_attaches_nothing():
    owner = make.customer('<img src="http://127.0.0.1:9/x"><link rel=attachment>')
    pdf = pikepdf.open(BytesIO(slip(booked_in(of=make.device(owner)))))
    assert not pdf.attachments


def test_the_drawn_qr_code_matches_the_label_code():
    drawn = qr_code("26-00412-K")
    rows = segno.make("26-00412-K", error="m", micro=False).matrix
    dark = {
        tuple(int(n) - QUIET for n in square.removesuffix("h1v1h-1z").split())
        for square in drawn.path.split("M")[1:]
    }
    assert dark == {
        (x, y) for y, row in enumerate(rows) for x, cell in enumerate(row) if cell
    }
    assert drawn.size == len(rows) + 2 * QUIET


def test_documents_open_in_the_browser(counter):
    job = booked_in()
    for name, params in (
        ("slip", ""),
        ("label", "?size=89x36"),
        ("label", "?size=\x00"),
    ):
        url = reverse(f"intake:{name}", args=[job.pk]) + params
        answer = counter.client.get(url)
        assert answer["Content-Type"] == "application/pdf"
        assert answer.content.startswith(b"%PDF-")


def test_an_imported_job_has_documents(counter):
    job = make.job(number="J/7 of 2019", is_from_history=True)
    for name in ("slip", "label"):
        answer = counter.client.get(reverse(f"intake:{name}", args=[job.pk]))
        assert answer.content.startswith(b"%PDF-")
