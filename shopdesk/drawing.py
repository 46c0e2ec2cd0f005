"""From HTML to the bytes of a PDF: all that is known of WeasyPrint is here.

A program of its own, which `shopdesk.press` starts and speaks with: a line of JSON in,
a line of JSON out. A layout can't be interrupted from within, so what runs away is
ended with its whole program, by an alarm that the system rings.

A paper is tagged (PDF/UA-1), carries its typefaces, fetches nothing, and is the same
byte for byte when made again of the same HTML: it may be kept by its hash.

A paper with a file inside it is PDF/A-3a as well, as far as we can tell: WeasyPrint
writes it so and our tests read it back, but no validator has certified it.
"""

import json
import logging
import os
import signal
import sys
import traceback
from base64 import b64decode, b64encode
from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime
from functools import cache
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from typing import Any

STATIC = Path(__file__).parent / "static" / "shopdesk"
# Two families of one face: its Latin letters, and those of Central Europe after it.
FACES = {
    "Desk": "next-latin",
    "Desk More": "next-latin-ext",
    "Desk Mono": "mono-latin",
    "Desk Mono More": "mono-latin-ext",
}
# Reading the library from a cold disk is no fault of the paper's.
TO_WARM_UP = 60
Asked = dict[str, Any]
"""What a paper is made of, as `shopdesk.printing` tells it."""


class Failed(Exception):
    """The paper can't be drawn, for a reason that stands in the sentence."""


def main(seconds: float) -> None:
    """Draw what each line asks for, until there are no more lines.

    The alarm ends this program if anything takes longer than `seconds`.
    """
    # Whatever a library prints is not an answer.
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    signal.setitimer(signal.ITIMER_REAL, TO_WARM_UP)
    with suppress(Failed):  # which each paper will tell
        fonts()
    signal.setitimer(signal.ITIMER_REAL, 0)
    for line in sys.stdin:
        signal.setitimer(signal.ITIMER_REAL, seconds)
        told = answer(json.loads(line))
        signal.setitimer(signal.ITIMER_REAL, 0)
        print(json.dumps(told), file=answers, flush=True)


def answer(asked: Asked) -> dict[str, str]:
    """The PDF, or the sentence that says why there is none."""
    try:
        return {"pdf": b64encode(drawn(asked)).decode()}
    except Failed as failed:
        return {"failed": str(failed)}
    except Exception as wrong:
        traceback.print_exc()
        return {"failed": f"The paper could not be drawn: {wrong!r}"}


def drawn(asked: Asked) -> bytes:
    """The PDF of `asked["html"]` on `asked["page"]`."""
    weasyprint = _weasyprint()
    html, inside = asked["html"], asked["inside"]
    variant = "pdf/a-3a" if inside else "pdf/ua-1"
    more = _with_inside(inside) if inside else {"finisher": _say_what_heads}
    file = b64decode(inside["content"]) if inside else b""
    seal = sha256(html.encode() + file).digest()[:16]
    try:
        document = weasyprint.HTML(string=html, url_fetcher=_fetcher()).render(
            stylesheets=[style(asked["page"])],
            font_config=fonts(),
            pdf_variant=variant,
        )
        if not document.metadata.title or not document.metadata.lang:
            raise Failed(f"{asked['of']} gives its paper no title or no language.")
        made: bytes = document.write_pdf(
            pdf_variant=variant, pdf_identifier=seal, **more
        )
        return made
    except weasyprint.urls.FatalURLFetchingError as refused:
        # It is no Exception, so that the library's own nets let it through.
        raise Failed(str(refused)) from refused


def _say_what_heads(document: Any, pdf: Any) -> None:
    """Tell of each header cell whether it heads a row or a column.

    The library leaves that open, and a reader can't tell above cells that are headers
    themselves. A row of nothing but headers heads columns.
    """
    for row in pdf.objects:
        if not isinstance(row, dict) or row.get("S") != "/TR":
            continue
        cells = [pdf.objects[number] for number in _cells(row)]
        heads = [cell for cell in cells if cell["S"] == "/TH"]
        scope = "/Column" if len(heads) == len(cells) > 1 else "/Row"
        for cell in heads:
            cell["A"]["Scope"] = scope


def _cells(row: dict[str, Any]) -> Iterator[int]:
    """The numbers of the objects that a row of a table is made of."""
    for part in row.get("K", ()):
        if isinstance(part, bytes):
            yield int(part.split()[0])


def _with_inside(inside: Asked) -> dict[str, Any]:
    """What WeasyPrint is told besides, for a paper with a file inside."""
    made_at = datetime.fromisoformat(inside["made_at"])
    attachment = _weasyprint().Attachment(
        file_obj=BytesIO(b64decode(inside["content"])),
        url_fetcher=_fetcher(),
        name=inside["name"],
        description=inside["title"],
        relationship="Alternative",
        created=made_at,
        modified=made_at,
    )

    def finish(document: Any, pdf: Any) -> None:
        """Name the file once, and tell of it inside the one description there is.

        By itself the library names it twice, and a second description is overlooked
        by some readers of e-invoices.
        """
        _say_what_heads(document, pdf)
        named = pdf.catalog["AF"]
        named[:] = dict.fromkeys(named)
        described = pdf.objects[int(pdf.catalog["Metadata"].split()[0])]
        before, end, after = b"".join(described.stream).partition(b"</rdf:RDF>")
        described.stream = [before + inside["told"].encode() + end + after]
        described.compress = False

    return {"attachments": [attachment], "finisher": finish}


@cache
def _weasyprint() -> Any:
    try:
        import weasyprint
    except OSError as missing:
        raise Failed(
            "Papers need the Pango library, which is missing here: "
            "apt-get install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0"
        ) from missing
    # A font subset is chatter, not news.
    logging.getLogger("fontTools").setLevel(logging.WARNING)
    return weasyprint


@cache
def fonts() -> Any:
    """The typefaces as the library keeps them, for all papers."""
    _weasyprint()
    from weasyprint.text.fonts import FontConfiguration

    return FontConfiguration()


@cache
def _fetcher() -> Any:
    _weasyprint()
    from weasyprint.urls import FatalURLFetchingError, URLFetcher

    class DataOnly(URLFetcher):
        """Opens nothing but what the paper itself carries, and says so loudly."""

        def fetch(self, url: str, headers: Any = None) -> Any:
            if not url.startswith("data:"):
                raise FatalURLFetchingError(f"A paper may not fetch {url[:80]}")
            return super().fetch(url, headers)

    return DataOnly(allowed_protocols=("data",), allow_redirects=False)


@cache
def style(page: str) -> Any:
    """The sheet of papers with our typefaces inside, read and parsed once a page.

    `page` is what CSS is to say of the page itself.
    """
    sheet = [_face(name, file, w) for name, file in FACES.items() for w in (400, 700)]
    sheet += [(STATIC / "paper.css").read_text(), f"@page {{ {page} }}"]
    return _weasyprint().CSS(
        string="\n".join(sheet), font_config=fonts(), url_fetcher=_fetcher()
    )


def _face(name: str, file: str, weight: int) -> str:
    font = b64encode((STATIC / "fonts" / f"{file}-{weight}.woff2").read_bytes())
    return (
        f'@font-face {{ font-family: "{name}"; font-weight: {weight};'
        f' src: url("data:font/woff2;base64,{font.decode()}") }}'
    )


if __name__ == "__main__":
    main(float(sys.argv[1]))
