"""From a template to the bytes of a PDF: all that is known of WeasyPrint is here.

A paper is tagged (PDF/UA-1), carries its typefaces, fetches nothing, and is the same
byte for byte when made again from the same record: it may be kept by its hash.

A paper with a file inside it is PDF/A-3a as well, as far as we can tell: WeasyPrint
writes it so and our tests read it back, but no validator has certified it.
"""

import atexit
import logging
from base64 import b64encode
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from hashlib import sha256
from io import BytesIO
from pathlib import Path

from django.template.loader import render_to_string

from shopdesk.shop.models import Shop

SIZES = {
    "A4": "A4 portrait",
    "Letter": "letter portrait",
    # Labels by the width and height of the roll, in millimetres.
    "54x25": "54mm 25mm",
    "57x32": "57mm 32mm",
    "62x29": "62mm 29mm",
    "62x40": "62mm 40mm",
    "89x36": "89mm 36mm",
    "100x62": "100mm 62mm",
}
"""The papers and labels we print on, as CSS says them."""

# A label has no room for margins, nor for a foot.
LABEL = "margin: 2mm; @bottom-left { content: none } @bottom-right { content: none }"

STATIC = Path(__file__).parent / "static" / "shopdesk"
# Two families of one face: its Latin letters, and those of Central Europe after it.
FACES = {
    "Desk": "next-latin",
    "Desk More": "next-latin-ext",
    "Desk Mono": "mono-latin",
    "Desk Mono More": "mono-latin-ext",
}


class PaperFailed(Exception):
    """A paper could not be made, for a reason that stands in the sentence."""


@dataclass(frozen=True)
class Schema:
    """What the paper says of the file inside it, in the terms of the file's own world.

    `terms` are name, value and what the name means.
    """

    title: str
    uri: str
    prefix: str
    terms: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True)
class Inside:
    """A file that travels inside a paper and says the same to a machine."""

    name: str
    content: bytes
    schema: Schema


def render_pdf(
    template: str,
    context: dict,
    *,
    size: str = "A4",
    made_at: datetime,
    inside: Inside | None = None,
) -> bytes:
    """The paper of `template` (extending shopdesk/look/paper.html) on `size`.

    `made_at` is the moment that the paper bears, not the one at which it is drawn.
    """
    weasyprint = _weasyprint()
    if size not in SIZES:
        raise PaperFailed(f"There is no paper of size {size}.")
    made_at = made_at.astimezone(UTC).replace(microsecond=0)
    shop = context.get("shop") or Shop.current()
    html = render_to_string(template, {**context, "shop": shop, "made_at": made_at})
    variant = "pdf/a-3a" if inside else "pdf/ua-1"
    more = _with_inside(inside, made_at) if inside else {"finisher": _say_what_heads}
    seal = sha256(html.encode() + (inside.content if inside else b""))
    try:
        document = weasyprint.HTML(string=html, url_fetcher=_fetcher()).render(
            stylesheets=[_style(size)], font_config=_fonts(), pdf_variant=variant
        )
        if not document.metadata.title or not document.metadata.lang:
            raise PaperFailed(f"{template} gives its paper no title or no language.")
        return document.write_pdf(
            pdf_variant=variant, pdf_identifier=seal.digest()[:16], **more
        )
    except weasyprint.urls.FatalURLFetchingError as refused:
        # It is no Exception, so that the library's own nets let it through.
        raise PaperFailed(str(refused)) from refused


def _say_what_heads(document, pdf) -> None:
    """Tell of each header cell whether it heads a row or a column.

    The library leaves that open, and a reader can't tell above cells that are headers
    themselves. A row of nothing but headers heads columns.
    """
    for row in pdf.objects:
        if not isinstance(row, dict) or row.get("S") != "/TR":
            continue
        cells = [pdf.objects[int(cell.split()[0])] for cell in _cells(row)]
        heads = [cell for cell in cells if cell["S"] == "/TH"]
        scope = "/Column" if len(heads) == len(cells) > 1 else "/Row"
        for cell in heads:
            cell["A"]["Scope"] = scope


def _cells(row: dict) -> list[bytes]:
    """References to what a row of a table is made of."""
    return [part for part in row.get("K", ()) if isinstance(part, bytes)]


def _with_inside(inside: Inside, made_at: datetime) -> dict:
    """What WeasyPrint is told besides, for a paper with a file inside."""
    attachment = _weasyprint().Attachment(
        file_obj=BytesIO(inside.content),
        url_fetcher=_fetcher(),
        name=inside.name,
        description=inside.schema.title,
        relationship="Alternative",
        created=made_at,
        modified=made_at,
    )
    told = render_to_string("shopdesk/look/inside.xml", {"schema": inside.schema})

    def finish(document, pdf):
        """Name the file once, and tell of it inside the one description there is.

        By itself the library names it twice, and a second description is overlooked
        by some readers of e-invoices.
        """
        _say_what_heads(document, pdf)
        named = pdf.catalog["AF"]
        named[:] = dict.fromkeys(named)
        described = pdf.objects[int(pdf.catalog["Metadata"].split()[0])]
        before, end, after = b"".join(described.stream).partition(b"</rdf:RDF>")
        described.stream = [before + told.encode() + end + after]
        described.compress = False

    return {"attachments": [attachment], "finisher": finish}


@cache
def _weasyprint():
    """The library, on first use: without Pango the desk runs on, only papers fail."""
    try:
        import weasyprint
    except OSError as missing:
        raise PaperFailed(
            "Papers need the Pango library, which is missing here: "
            "apt-get install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0"
        ) from missing
    logging.getLogger("fontTools").setLevel(logging.WARNING)
    return weasyprint


@cache
def _fonts():
    _weasyprint()
    from weasyprint.text.fonts import FontConfiguration

    # Let go while there is still a library that can clear its folder of fonts away.
    atexit.register(_fonts.cache_clear)
    atexit.register(_style.cache_clear)
    return FontConfiguration()


@cache
def _fetcher():
    _weasyprint()
    from weasyprint.urls import FatalURLFetchingError, URLFetcher

    class DataOnly(URLFetcher):
        """Opens nothing but what the paper itself carries, and says so loudly."""

        def fetch(self, url, headers=None):
            if not url.startswith("data:"):
                raise FatalURLFetchingError(f"A paper may not fetch {url[:80]}")
            return super().fetch(url, headers)

    return DataOnly(allowed_protocols=("data",), allow_redirects=False)


@cache
def _style(size: str):
    """The sheet of papers with our typefaces inside, read and parsed once a size."""
    sheet = [_face(name, file, w) for name, file in FACES.items() for w in (400, 700)]
    page = f"size: {SIZES[size]};" + (LABEL if size[0].isdigit() else "")
    sheet += [(STATIC / "paper.css").read_text(), f"@page {{ {page} }}"]
    return _weasyprint().CSS(
        string="\n".join(sheet), font_config=_fonts(), url_fetcher=_fetcher()
    )


def _face(name: str, file: str, weight: int) -> str:
    font = b64encode((STATIC / "fonts" / f"{file}-{weight}.woff2").read_bytes())
    return (
        f'@font-face {{ font-family: "{name}"; font-weight: {weight};'
        f' src: url("data:font/woff2;base64,{font.decode()}") }}'
    )
