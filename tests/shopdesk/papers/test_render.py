"""Rendered PDFs: tagged, self-contained, reproducible, and without network access."""

import os
import subprocess
import sys
from datetime import UTC, datetime
from io import BytesIO

import pikepdf
import pytest
from django.template import engines

from shopdesk.errors import PdfError
from shopdesk.papers.render import SIZES, render_pdf
from shopdesk.shop.models import Shop
from tests.papers import text_of

pytestmark = pytest.mark.paper

AT = datetime(2026, 3, 5, 14, 5, tzinfo=UTC)
SHOP = Shop(
    pk=1, name="The Bench", address="3 Lock Lane\nUnderbridge", phone="+442079460018"
)
PAPER = """{% extends "shopdesk/look/paper.html" %}{% load desk %}
{% block title %}Slip of 26-00412{% endblock %}
{% block main %}<h1>Slip <span class="code">26-00412</span></h1>
<div class="qr">{% qr "26-00412-K" "Code of job 26-00412" %}</div>
<p>0O 1lI 5S 8B Łódź <b>Ł</b></p>
<table class="sums"><tr class="total"><th scope="row">Total</th>
<td class="num">{{ 96|money:shop }}</td></tr></table>
{% for n in lines %}<p>Line {{ n }}</p>{% endfor %}{{ said }}{% endblock %}"""


@pytest.fixture
def paper(tmp_path, monkeypatch):
    """Makes a paper of the given template text, without a file among our templates."""
    django = engines["django"].engine

    def made(source=PAPER, size="A4", made_at=AT, **context):
        (tmp_path / "paper.html").write_text(source)
        monkeypatch.setattr(django, "dirs", [*dirs, tmp_path])
        for loader in django.template_loaders:
            loader.reset()
        context.setdefault("shop", SHOP)
        return render_pdf("paper.html", context, size=size, made_at=made_at)

    dirs = list(django.dirs)
    yield made
    for loader in django.template_loaders:
        loader.reset()


def opened(pdf):
    return pikepdf.open(BytesIO(pdf))


def test_the_same_record_gives_the_same_bytes(paper):
    first = paper(lines=range(60))
    assert paper(said="another in between") != first
    assert paper(lines=range(60)) == first


def test_a_paper_is_tagged_and_says_what_it_is_in_which_language(paper):
    pdf = opened(paper())
    assert bool(pdf.Root.MarkInfo.Marked)
    assert "/StructTreeRoot" in pdf.Root
    assert str(pdf.Root.Lang) == "en-gb"
    assert bool(pdf.Root.ViewerPreferences.DisplayDocTitle)
    with pdf.open_metadata() as told:
        assert told["pdfuaid:part"] == "1"
        assert told["dc:title"] == "Slip of 26-00412"
        assert told["xmp:CreateDate"].startswith("2026-03-05T14:05:00")
    assert pdf.trailer.Info.Author == "The Bench"


def test_each_header_cell_says_what_it_heads(paper):
    pdf = opened(
        paper("""{% extends "shopdesk/look/paper.html" %}
        {% block title %}Bill{% endblock %}
        {% block main %}<h1>Bill</h1><table>
        <thead><tr><th scope="col">What</th><th scope="col">Amount</th></tr></thead>
        <tbody><tr><th scope="row">Labour</th><td>51.00</td></tr>
        <tr><th scope="row">Socket</th><td>8.00</td></tr></tbody></table>
        {% endblock %}""")
    )
    scopes = [
        str(cell.A.Scope)
        for cell in pdf.objects
        if isinstance(cell, pikepdf.Dictionary) and cell.get("/S") == "/TH"
    ]
    assert sorted(scopes) == ["/Column", "/Column", "/Row", "/Row"]


def fonts_of(pdf):
    for found in pdf.objects:
        if isinstance(found, pikepdf.Dictionary) and "/FontName" in found:
            yield str(found.FontName), "/FontFile2" in found or "/FontFile3" in found


def test_our_typefaces_travel_in_the_paper(paper):
    fonts = dict(fonts_of(opened(paper())))
    assert all(fonts.values()), "every face is embedded"
    names = {name.split("+")[-1] for name in fonts}
    assert names == {
        "Desk",
        "Desk-Bold",
        "Desk-Mono-Bold",
        "Desk-More",
        "Desk-More-Bold",
    }


@pytest.mark.parametrize("size", SIZES)
def test_each_size_is_as_large_as_it_says(paper, size):
    pdf = opened(paper(size=size))
    box = pdf.pages[0].mediabox
    width, height = (round(float(n) * 25.4 / 72) for n in box[2:])
    expected = {"A4": (210, 297), "Letter": (216, 279)}.get(size)
    assert (width, height) == (expected or tuple(map(int, size.split("x"))))


def test_a_long_paper_counts_its_pages(paper):
    pdf = paper(lines=range(120))
    pages = len(opened(pdf).pages)
    assert pages > 2
    for number in range(1, pages + 1):
        assert f"Page {number} of {pages}" in text_of(pdf)
    # The heading, and each foot.
    assert text_of(pdf).count("Slip 26-00412") == pages + 1


def test_a_label_is_one_small_page_without_a_foot(paper):
    label = """{% extends "shopdesk/look/paper.html" %}
    {% block title %}Label{% endblock %}{% block paper_class %}label{% endblock %}
    {% block letterhead %}{% endblock %}
    {% block main %}<h1>26-00412-K</h1><p>Marrow 12</p>{% endblock %}"""
    pdf = paper(label, size="54x25")
    assert len(opened(pdf).pages) == 1
    assert "Page" not in text_of(pdf)


@pytest.mark.parametrize(
    "source",
    [
        '<img alt="x" src="http://127.0.0.1:9/a.png">',
        '<img alt="x" src="file:///etc/hostname">',
        '<link rel="attachment" href="file:///etc/hostname">',
        '<link rel="stylesheet" href="file:///etc/hostname">',
        '<p style="background: url(https://127.0.0.1:9/b.png)">x</p>',
    ],
)
def test_a_paper_that_would_fetch_is_refused_loudly(paper, source):
    planted = PAPER.replace("{{ said }}", source)
    with pytest.raises(PdfError, match="may not fetch"):
        paper(planted)
    assert text_of(paper()).strip(), "and the next paper is made as ever"


def test_what_people_typed_is_text_and_never_markup(paper):
    said = '<img src="file:///etc/hostname"> <h1>Paid</h1>'
    assert said in " ".join(text_of(paper(said=said)).split())


def test_a_paper_without_a_title_is_refused(paper):
    with pytest.raises(PdfError, match="no title"):
        paper('{% extends "shopdesk/look/paper.html" %}{% block main %}x{% endblock %}')


def test_an_unknown_size_is_refused(paper):
    with pytest.raises(PdfError, match="A5"):
        paper(size="A5")


def test_the_desk_runs_without_the_library_of_papers():
    """It may be missing, and only the processes that draw documents load it."""
    asked = "import sys, shopdesk.papers.render; print('weasyprint' in sys.modules)"
    source = f"import django; django.setup(); {asked}"
    said = subprocess.run(
        [sys.executable, "-c", source],
        check=True,
        capture_output=True,
        text=True,
        env={**os.environ, "DJANGO_SETTINGS_MODULE": "shopdesk.settings"},
    )
    assert said.stdout.strip() == "False"
