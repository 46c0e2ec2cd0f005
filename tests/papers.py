"""Papers in tests: a stand-in for drawing them, and one way of reading them.

Drawing a paper takes a fifth of a second, and most tests ask only what is written on
it. So a test gets the stand-in unless it is marked `paper`: the template is rendered as
ever, and its text goes into a small PDF without any layout.
"""

import re
import subprocess
from html.parser import HTMLParser
from io import BytesIO

import pikepdf

drawn = False
"""Whether the test that runs has its papers really drawn; `tests.conftest` sets it."""

# The tags that begin a line of their own; cells share the line of their row.
LINES = set(
    """
    address article aside blockquote br caption dd div dl dt fieldset figcaption figure
    footer form h1 h2 h3 h4 h5 h6 header hr legend li main nav ol p pre section table
    tbody tfoot thead title tr ul
    """.split()
)
UNSEEN = {"head", "style", "script"}
MILLIMETRE = 72 / 25.4
SHEETS = {"A4": (595.276, 841.89), "letter": (612, 792)}


class _Reader(HTMLParser):
    """The text of a page, line by line, with its title, its language and its links."""

    def __init__(self, html):
        super().__init__()
        self.title = self.language = self.text = ""
        self.fetched = []
        self._unseen = []
        self._in_title = False
        self.feed(html)
        self.close()

    def handle_starttag(self, tag, attrs):
        facts = dict(attrs)
        if tag == "html":
            self.language = facts.get("lang") or ""
        if tag == "title" and "svg" not in self._unseen:
            self._in_title = not self.title
        if tag in UNSEEN or tag == "svg":
            self._unseen.append(tag)
        if src := facts.get("src"):
            self.fetched.append(src)
        if tag in LINES:
            self.text += "\n"
        elif tag in ("td", "th"):
            self.text += "  "

    def handle_endtag(self, tag):
        if tag == "title":
            self._in_title = False
        if self._unseen and self._unseen[-1] == tag:
            self._unseen.pop()
        if tag in LINES:
            self.text += "\n"

    def handle_data(self, data):
        if self._in_title:
            self.title += data
        elif not set(self._unseen) & UNSEEN:
            self.text += re.sub(r"[ \t\r\n\f]+", " ", data)

    @property
    def lines(self):
        stripped = (line.strip(" ") for line in self.text.split("\n"))
        return [line for line in stripped if line]


def stand_in(paper):
    """A small PDF of what `shopdesk.papers.render` wants drawn: the same text, the same
    size of sheet, the same file inside, and the same bytes each time."""
    seen, template = _Reader(paper["html"]), paper["template"]
    assert seen.title.strip() and seen.language, f"{template}: no title, no language"
    elsewhere = [src[:80] for src in seen.fetched if not src.startswith("data:")]
    assert not elsewhere, f"{template} would fetch {elsewhere}"
    pdf = pikepdf.new()
    width, height = _sheet(paper["page"])
    pdf.add_blank_page(page_size=(width, height))
    page = pdf.pages[0]
    page.Resources = pikepdf.Dictionary(Font={"/F": _font(pdf)})
    page.Contents = pdf.make_stream(_written(seen.lines, width, height))
    pdf.Root.Lang = pikepdf.String(seen.language)
    pdf.docinfo["/Title"] = seen.title.strip()
    if inside := paper["embedded"]:
        spec = pikepdf.AttachedFileSpec(
            pdf, inside["content"], filename=inside["name"], mime_type="text/xml"
        )
        pdf.attachments[inside["name"]] = spec
    made = BytesIO()
    pdf.save(made, deterministic_id=True)
    return made.getvalue()


def _sheet(page):
    named = re.search(r"size: (A4|letter)", page)
    if named:
        return SHEETS[named[1]]
    return [float(n) * MILLIMETRE for n in re.findall(r"([\d.]+)mm", page)[:2]]


def _written(lines, width, height):
    """All lines on the one sheet, in a type as small as that takes."""
    leading = min(12, height / (len(lines) + 2))
    size = min(leading * 0.8, 2 * width / (2 + max(map(len, lines), default=0)))
    drawn = [f"BT /F {size:.3f} Tf {leading:.3f} TL 2 {height - leading:.3f} Td"]
    drawn += [f"<{line.encode('utf-16-be').hex()}> Tj T*" for line in lines]
    return "\n".join([*drawn, "ET"]).encode()


def _font(pdf):
    """No letters, only what each code stands for: enough to read the text back."""
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
    """What is written on a paper: by its lines or, `-raw`, in the order of the file."""
    read = ["pdftotext", how, "-enc", "UTF-8", "-", "-"]
    return subprocess.run(
        read, input=bytes(pdf), capture_output=True, check=True
    ).stdout.decode()


def words_of(pdf, how="-layout"):
    """The same in one line."""
    return " ".join(text_of(pdf, how).split())
