"""Page, document and files agree, and no cell is taken for a formula."""

import csv
import io
from datetime import timedelta

import openpyxl
import pikepdf
import pytest
from django.urls import reverse
from django.utils import timezone

from repairs.comebacks.comeback_table import COLUMNS, FILE_VERDICTS
from repairs.faults.models import Fault, Fix
from shopdesk.spreadsheet import FORMULA_STARTS
from shopdesk.staff.models import Role
from shopdesk.templatetags.desk import share, share_range
from tests import make

pytestmark = pytest.mark.django_db
FILES = ("comebacks:csv", "comebacks:json", "comebacks:xlsx", "month:pdf")


def ago(n):
    return timezone.localdate() - timedelta(days=n)


@pytest.fixture
def pairs():
    fault = make.fault(code="PWR-JACK")
    for code, back in (("RESOLDER", 6), ("REPLACE", 0)):
        fix = make.fix(fault, code=code)
        for n in range(9):
            make.past_repair(
                fault,
                fix,
                on=ago(200 - n),
                back_on=ago(180 - n) if n < back else None,
            )
    return fault


def test_page_csv_and_json_have_the_same_figures(owner, pairs):
    params = {"as_of": ago(150).isoformat(), "within": "60"}
    rows = owner.get("/comebacks/", params).context["report"].rows
    shown = owner.get(reverse("comebacks:json"), params).json()
    sheet = owner.get(reverse("comebacks:csv"), params).content.decode()
    lines = list(csv.DictReader(io.StringIO(sheet)))
    assert [list(entry) for entry in shown] == [
        [column.file_name for column in COLUMNS.values()]
    ] * 2
    for row, entry, line in zip(rows, shown, lines, strict=True):
        for name, (file_name, *_) in COLUMNS.items():
            value = getattr(row, name)
            if name == "verdict":
                value = FILE_VERDICTS[value]
            if isinstance(value, str):
                assert entry[file_name] == line[file_name] == value
            else:
                assert entry[file_name] == float(line[file_name]) == float(value)


def test_a_file_says_what_it_holds(owner, pairs):
    for ending, kind in (("csv", "text/csv"), ("json", "application/json")):
        answer = owner.get(reverse(f"comebacks:{ending}"), {"within": "30"})
        assert answer["Content-Type"].startswith(kind)
        assert answer["Content-Disposition"] == (
            f'attachment; filename="comebacks-{timezone.localdate()}-30-days.{ending}"'
        )


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t=", "\r=", "\n@"])
def test_no_text_cell_is_taken_for_a_formula(owner, pairs, sign):
    # Not by the forms, which refuse such a code, but by whatever else writes here.
    Fault.objects.update(code=f"{sign}HYPERLINK(1)")
    Fix.objects.filter(code="REPLACE").update(code=f"{sign}1+1")
    sheet = owner.get(reverse("comebacks:csv")).content.decode()
    lines = list(csv.DictReader(io.StringIO(sheet, newline="")))
    assert {line["fault"] for line in lines} == {f"'{sign.strip()}HYPERLINK(1)"}
    assert f"'{sign.strip()}1+1" in {line["fix"] for line in lines}
    for line in lines:
        assert not any(cell[:1] in FORMULA_STARTS for cell in line.values())


@pytest.mark.paper
def test_the_report_is_tagged_and_reproducible(owner, pairs):
    answer = owner.get(reverse("month:pdf"))
    with pikepdf.open(io.BytesIO(answer.content)) as paper:
        assert paper.Root.MarkInfo.Marked
        with paper.open_metadata() as facts:
            assert facts["pdfuaid:part"] == "1"
    assert answer.content == owner.get(reverse("month:pdf")).content


def test_the_page_of_another_date_links_to_the_files_of_that_date(owner, pairs):
    day = ago(150).isoformat()
    page = owner.get("/comebacks/", {"as_of": day}).content.decode()
    for address in map(reverse, FILES):
        assert f'href="{address}?as_of={day}&amp;within=90"' in page


def test_the_workbook_has_the_figures_of_the_csv_file_as_numbers(owner, pairs):
    params = {"as_of": ago(150).isoformat(), "within": "60"}
    sheet = owner.get(reverse("comebacks:csv"), params).content.decode()
    answer = owner.get(reverse("comebacks:xlsx"), params)
    book = openpyxl.load_workbook(io.BytesIO(answer.content))
    heads, *lines = csv.reader(io.StringIO(sheet))
    first, *rows = book["Comebacks"].values
    assert list(first) == heads and len(rows) == len(lines) == 2
    texts = {"fault", "fix", "declared", "verdict"}
    for line, row in zip(lines, rows, strict=True):
        for head, text, value in zip(heads, line, row, strict=True):
            is_text = head in texts
            assert isinstance(value, str if is_text else int | float), head
            assert text == value if is_text else float(text) == pytest.approx(value)
    about = dict(list(book["About"].values)[1:5])
    assert about["Data as of"].date() == ago(150)
    assert about["Comeback period (days)"] == 60


@pytest.mark.parametrize("file", FILES)
@pytest.mark.parametrize("kind", [Role.COUNTER, Role.BENCH])
def test_only_the_owner_downloads_the_files(client, pairs, file, kind):
    client.force_login(make.user(kind), "django.contrib.auth.backends.ModelBackend")
    assert client.get(reverse(file)).status_code == 403


def test_an_empty_shop_has_files(owner):
    assert owner.get(reverse("comebacks:json")).json() == []
    sheet = owner.get(reverse("comebacks:csv")).content.decode()
    assert sheet.strip() == ",".join(column.file_name for column in COLUMNS.values())
    assert owner.get(reverse("month:pdf"))["Content-Type"] == "application/pdf"


# --- pictures ---------------------------------------------------------------------


def test_a_chart_has_a_title_focusable_figures_and_a_table(owner, pairs):
    page = owner.get(f"/comebacks/{pairs.pk}/{Fix.objects.get(code='RESOLDER').pk}/")
    text = " ".join(page.content.decode().split())
    for name in ("forest", "curves"):
        assert f'aria-labelledby="{name}-title {name}-desc"' in text
        assert f'<title id="{name}-title">' in text
        assert f'<desc id="{name}-desc">' in text
    curves = page.context["curves"]
    assert text.count('class="spot" tabindex="0"') == len(curves.points) + len(
        page.context["forest"].lines
    )
    for point in curves.points:
        assert f"<title>{point.text}</title>" in text
        cells = {
            "Day": point.day,
            "Comebacks": point.comebacks,
            "At risk": point.at_risk,
            "Probability": share(point.risk),
            "90 % range": share_range(point.low, point.high),
        }
        row = "".join(
            f'<td class="num" data-label="{label}">{value}</td>'
            for label, value in cells.items()
        )
        assert f'<th scope="row" class="code">{point.fix}</th>{row}' in text


@pytest.mark.parametrize("name", ["_forest", "_curves"])
def test_a_chart_carries_its_own_colours_for_documents(owner, pairs, name):
    page = owner.get(f"/comebacks/{pairs.pk}/{Fix.objects.get(code='RESOLDER').pk}/")
    text = page.content.decode()
    start = text.index(f'aria-labelledby="{name.strip("_")}-title')
    drawing = text[start : text.index("</svg>", start)]
    assert "currentColor" not in drawing
    assert "var(" not in drawing
    for piece in drawing.split("<path ")[1:]:
        tag = piece[: piece.index(">")]
        assert "fill=" in tag or "stroke=" in tag
