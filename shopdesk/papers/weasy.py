"""Draw HTML as a PDF: the only module that uses WeasyPrint.

Only the processes of `shopdesk.papers.worker` import it. What does not depend on the
document is loaded here once, so that the process of each document starts with it.

A document is tagged (PDF/UA-1), embeds its fonts, fetches nothing, and is the same byte
for byte when made again from the same HTML, so its hash identifies it. A document with
an embedded file is also written as PDF/A-3a; our tests read it back, but no validator
has certified it.
"""

import atexit
import logging
from base64 import b64encode
from collections.abc import Iterator
from functools import cache
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from shutil import rmtree
from typing import Any

import shopdesk
from shopdesk.errors import PdfError

try:
    import weasyprint
    from weasyprint.text.fonts import FontConfiguration
    from weasyprint.urls import FatalURLFetchingError, URLFetcher
except OSError as error:
    raise ImportError(
        "PDF documents need the Pango library, which is missing here: "
        "apt-get install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0"
    ) from error

STATIC = Path(shopdesk.__file__).parent / "static" / "shopdesk"
# Two families of one typeface: Latin letters, and those of Central Europe.
FONT_FILES = {
    "Desk": "next-latin",
    "Desk More": "next-latin-ext",
    "Desk Mono": "mono-latin",
    "Desk Mono More": "mono-latin-ext",
}
WARM_UP_HTML = "<html lang=en><title>1</title><h1>1</h1><p><b>1</b> <code>1</code>"


class DataOnlyFetcher(URLFetcher):
    """Opens nothing but what the document itself contains, and raises otherwise."""

    def fetch(self, url: str, headers: Any = None) -> Any:
        if not url.startswith("data:"):
            raise FatalURLFetchingError(f"A document may not fetch {url[:80]}")
        return super().fetch(url, headers)


FETCHER = DataOnlyFetcher(allowed_protocols=("data",), allow_redirects=False)
FONTS = FontConfiguration()


def draw(request: dict[str, Any]) -> bytes:
    """Return the PDF of `request["html"]` on `request["page"]`.

    `request["embedded"]` is a file to embed, or None.
    """
    html, embedded = request["html"], request["embedded"]
    variant = "pdf/a-3a" if embedded else "pdf/ua-1"
    options = _embed(embedded) if embedded else {"finisher": _set_header_scopes}
    content = embedded["content"] if embedded else b""
    identifier = sha256(html.encode() + content).digest()[:16]
    try:
        document = weasyprint.HTML(string=html, url_fetcher=FETCHER).render(
            stylesheets=[style_sheet(request["page"])],
            font_config=FONTS,
            pdf_variant=variant,
        )
        if not document.metadata.title or not document.metadata.lang:
            raise PdfError(f"{request['template']} sets no title or no language.")
        pdf: bytes = document.write_pdf(
            pdf_variant=variant, pdf_identifier=identifier, **options
        )
        return pdf
    except FatalURLFetchingError as error:
        # Not an Exception: the library's own handlers would catch that.
        raise PdfError(str(error)) from error


def _set_header_scopes(document: Any, pdf: Any) -> None:
    """State for each header cell whether it heads a row or a column.

    The library leaves that open, and a screen reader cannot tell for cells below other
    headers. A row with only headers heads columns.
    """
    for row in pdf.objects:
        if not isinstance(row, dict) or row.get("S") != "/TR":
            continue
        cells = [pdf.objects[number] for number in _cell_numbers(row)]
        headers = [cell for cell in cells if cell["S"] == "/TH"]
        scope = "/Column" if len(headers) == len(cells) > 1 else "/Row"
        for cell in headers:
            cell["A"]["Scope"] = scope


def _cell_numbers(row: dict[str, Any]) -> Iterator[int]:
    """Return the numbers of the objects of which a table row is made."""
    for part in row.get("K", ()):
        if isinstance(part, bytes):
            yield int(part.split()[0])


def _embed(embedded: dict[str, Any]) -> dict[str, Any]:
    """Return the options by which WeasyPrint embeds a file."""
    attachment = weasyprint.Attachment(
        file_obj=BytesIO(embedded["content"]),
        url_fetcher=FETCHER,
        name=embedded["name"],
        description=embedded["title"],
        relationship="Alternative",
        created=embedded["made_at"],
        modified=embedded["made_at"],
    )

    def finish(document: Any, pdf: Any) -> None:
        """Name the embedded file once, and describe it in the existing metadata.

        By itself the library names it twice, and some readers of e-invoices overlook a
        second metadata block.
        """
        _set_header_scopes(document, pdf)
        files = pdf.catalog["AF"]
        files[:] = dict.fromkeys(files)
        metadata = pdf.objects[int(pdf.catalog["Metadata"].split()[0])]
        before, end, after = b"".join(metadata.stream).partition(b"</rdf:RDF>")
        metadata.stream = [before + embedded["metadata"].encode() + end + after]
        metadata.compress = False

    return {"attachments": [attachment], "finisher": finish}


@cache
def style_sheet(page: str) -> Any:
    """Return the style sheet of documents with our fonts, parsed once a page size.

    `page` holds the CSS declarations of the page itself.
    """
    faces = [_face(*file, w) for file in FONT_FILES.items() for w in (400, 700)]
    rules = [*faces, (STATIC / "paper.css").read_text(), f"@page {{ {page} }}"]
    return weasyprint.CSS(
        string="\n".join(rules), font_config=FONTS, url_fetcher=FETCHER
    )


def _face(family: str, file: str, weight: int) -> str:
    font = b64encode((STATIC / "fonts" / f"{file}-{weight}.woff2").read_bytes())
    return (
        f'@font-face {{ font-family: "{family}"; font-weight: {weight};'
        f' src: url("data:font/woff2;base64,{font.decode()}") }}'
    )


def _warm_up() -> None:
    """Load what the library would load with its first document."""
    # Hides the message that a font is reduced to the letters in use.
    logging.getLogger("fontTools").setLevel(logging.WARNING)
    page = "size: A4 portrait;"
    draw({"html": WARM_UP_HTML, "page": page, "template": "", "embedded": None})
    # Copies of this process must not clean up; only the one that loaded the fonts does.
    atexit.register(rmtree, FONTS._folder, ignore_errors=True)


_warm_up()
