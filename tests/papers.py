"""PDFs in tests: a stand-in for WeasyPrint, and how to read the text of a PDF.

Layout takes 0.2 seconds a document, and most tests only check its text. So unless a
test is marked `paper`, the template is rendered and its text is put into a small PDF
without layout.
"""

import re
import subprocess
from html.parser import HTMLParser
from io import BytesIO

import pikepdf

is_real = False
"""Whether the running test gets real PDFs; `tests.conftest` sets it."""
only_template = ""
"""If a test sets this, only documents of this template are real."""


def draw_with(real):
    """Return the function that draws a PDF in tests; `real` draws real ones."""

    def draw(request):
        is_wanted = request["template"] == only_template or not only_template
        return (real if is_real and is_wanted else stand_in)(request)

    return draw


# Tags that start a line. Cells share the line of their row.
BLOCK_TAGS = set(
    """
    address article aside blockquote br caption dd div dl dt fieldset figcaption figure
    footer form h1 h2 h3 h4 h5 h6 header hr legend li main nav ol p pre section table
    tbody tfoot thead title tr ul
    """.split()
)
HIDDEN_TAGS = {"head", "style", "script"}
MILLIMETRE = 72 / 25.4
PAGE_SIZES = {"A4": (595.276, 841.89), "letter": (612, 792)}


class _TextParser(HTMLParser):
    """The text of an HTML page, its title, its language and the files it loads."""

    def __init__(self, html):
        super().__init__()
        self.title = self.language = self.text = ""
        self.sources = []
        self._hidden = []
        self._in_title = False
        self.feed(html)
        self.close()

    def handle_starttag(self, tag, attrs):
        facts = dict(attrs)
        if tag == "html":
            self.language = facts.get("lang") or ""
        if tag == "title" and "svg" not in self._hidden:
            self._in_title = not self.title
        if tag in HIDDEN_TAGS or tag == "svg":
            self._hidden.append(tag)
        if src := facts.get("src"):
            self.sources.append(src)
        if tag in BLOCK_TAGS:
            self.text += "\n"
        elif tag in ("td", "th"):
            self.text += "  "

    def handle_endtag(self, tag):
        if tag == "title":
            self._in_title = False
        if self._hidden and self._hidden[-1] == tag:
            self._hidden.pop()
        if tag in BLOCK_TAGS:
            self.text += "\n"

    def handle_data(self, data):
        if self._in_title:
            self.title += data
        elif not set(self._hidden) & HIDDEN_TAGS:
            self.text += re.sub(r"[ \t\r\n\f]+", " ", data)

    @property
    def lines(self):
        stripped = (line.strip(" ") for line in self.text.split("\n"))
        return [line for line in stripped if line]


def stand_in(paper):
    """Return a small PDF with the text, page size and embedded file of `paper`.

    The same `paper` always gives the same bytes.
    """
    html, template = _TextParser(paper["html"]), paper["template"]
    assert html.title.strip() and html.language, f"{template}: no title, no language"
    remote = [src[:80] for src in html.sources if not src.startswith("data:")]
    assert not remote, f"{template} would fetch {remote}"
    pdf = pikepdf.new()
    width, height = _page_size(paper["page"])
    pdf.add_blank_page(page_size=(width, height))
    page = pdf.pages[0]
    page.Resources = pikepdf.Dictionary(Font={"/F": _font(pdf)})
    page.Contents = pdf.make_stream(_content(html.lines, width, height))
    pdf.Root.Lang = pikepdf.String(html.language)
    pdf.docinfo["/Title"] = html.title.strip()
    if file := paper["embedded"]:
        spec = pikepdf.AttachedFileSpec(
            pdf, file["content"], filename=file["name"], mime_type="text/xml"
        )
        pdf.attachments[file["name"]] = spec
    output = BytesIO()
    pdf.save(output, deterministic_id=True)
    return output.getvalue()


def _page_size(page):
    name = re.search(r"size: (A4|letter)", page)
    if name:
        return PAGE_SIZES[name[1]]
    return [float(n) * MILLIMETRE for n in re.findall(r"([\d.]+)mm", page)[:2]]


def _content(lines, width, height):
    """Write all lines on one page, in a font size small enough for them."""
    leading = min(12, height / (len(lines) + 2))
    size = min(leading * 0.8, 2 * width / (2 + max(map(len, lines), default=0)))
    drawn = [f"BT /F {size:.3f} Tf {leading:.3f} TL 2 {height - leading:.3f} Td"]
    drawn += [f"<{line.encode('utf-16-be').hex()}> Tj T*" for line in lines]
    return "\n".join([*drawn, "ET"]).encode()


def _font(pdf):
    """Return a font without glyphs that maps each code to its character."""
    codes = (
        b"/CIDInit /ProcSet findresource begin 12 dict begin begincmap\n"
        b"/CMapName /Text def 1 begincodespacerange <0000> <FFFF> endcodespacerange\n"
        b"1 beginbfrange <0000> <FFFF> <0000> endbfrange endcmap end end"
    )
    descendant = pikepdf.Dictionary(
        Type=pikepdf.Name.Font,
        Subtype=pikepdf.Name.CIDFontType2,
        BaseFont=pikepdf.Name.Text,
        CIDSystemInfo=pikepdf.Dictionary(
            Registry="Adobe", Ordering="Identity", Supplement=0
        ),
        DW=500,
    )
    return pdf.make_indirect(
        pikepdf.Dictionary(
            Type=pikepdf.Name.Font,
            Subtype=pikepdf.Name.Type0,
            BaseFont=pikepdf.Name.Text,
            Encoding=pikepdf.Name("/Identity-H"),
            DescendantFonts=pikepdf.Array([descendant]),
            ToUnicode=pdf.make_stream(codes),
        )
    )


def text_of(pdf, how="-layout"):
    """Return the text of a PDF by lines or, with `-raw`, in the order of the file."""
    read = ["pdftotext", how, "-enc", "UTF-8", "-", "-"]
    return subprocess.run(
        read, input=bytes(pdf), capture_output=True, check=True
    ).stdout.decode()


def words_of(pdf, how="-layout"):
    """Return the text of a PDF with single spaces."""
    return " ".join(text_of(pdf, how).split())
