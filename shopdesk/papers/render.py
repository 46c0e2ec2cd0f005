"""Render a template to a PDF, which `shopdesk.papers.worker` draws.

The same record always gives the same bytes.
"""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from django.template.loader import render_to_string
from django.utils import translation
from django.utils.translation import gettext

from shopdesk.errors import PdfError
from shopdesk.papers.worker import draw_pdf
from shopdesk.screen_language import locale_of
from shopdesk.shop import currencies
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
    # The roll of a receipt printer.
    "80x200": "80mm 200mm",
}
"""Paper and label sizes, as CSS declares them."""

SCREENS = "en"
"""The language of the screens, and so of documents for staff."""

# A label has no room for margins or a footer.
LABEL = "margin: 2mm; @bottom-left { content: none } @bottom-right { content: none }"


@dataclass(frozen=True)
class XmpSchema:
    """Metadata of an embedded file; `terms` are name, value and meaning of the name."""

    title: str
    uri: str
    prefix: str
    terms: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True)
class EmbeddedFile:
    """A file embedded in a document that contains the same data for a program."""

    name: str
    content: bytes
    schema: XmpSchema


def render_pdf(
    template: str,
    context: dict,
    *,
    size: str = "A4",
    made_at: datetime,
    inside: EmbeddedFile | None = None,
    language: str = "",
) -> bytes:
    """Return the PDF of `template` (extending shopdesk/look/paper.html) on `size`.

    `made_at` is the moment printed on the document, not the one at which it is drawn.
    The language is the shop's document language unless `language` is given.

    Raises: PdfError.
    """
    if size not in SIZES:
        raise PdfError(gettext("There is no paper size %(size)s.") % {"size": size})
    made_at = made_at.astimezone(UTC).replace(microsecond=0)
    shop = context.get("shop") or Shop.current()
    context = {**context, "shop": shop, "made_at": made_at}
    with _locale_for(language or shop.paper_language):
        request = {
            "template": template,
            "html": render_to_string(template, context),
            "page": page(size),
            "embedded": inside and _embedded(inside, made_at),
        }
    return draw_pdf(request)


def document_language(shop: Shop) -> translation.override:
    """Activate the language of documents for texts to customers."""
    return _locale_for(shop.paper_language)


def in_all_languages(text: str) -> set[str]:
    """Return a fixed text in every document language."""
    texts = set()
    for language in currencies.PAPER_LANGUAGES:
        with _locale_for(language):
            texts.add(gettext(text))
    return texts


def _locale_for(language: str) -> translation.override:
    return translation.override(locale_of(language))


def page(size: str) -> str:
    """Return the CSS of a page of this size, in the active language."""
    return f"size: {SIZES[size]};" + (LABEL if size[0].isdigit() else _foot())


def _foot() -> str:
    """Return the CSS of the page number, unless the language is English."""
    text = gettext("Page {n} of {all}")
    if text == "Page {n} of {all}":
        return ""
    counted = text.replace("{n}", '" counter(page) "')
    counted = counted.replace("{all}", '" counter(pages) "')
    return f' @bottom-right {{ content: "{counted}" }}'


def _embedded(inside: EmbeddedFile, made_at: datetime) -> dict[str, Any]:
    schema = inside.schema
    return {
        "name": inside.name,
        "content": inside.content,
        "title": schema.title,
        "metadata": render_to_string("shopdesk/look/inside.xml", {"schema": schema}),
        "made_at": made_at,
    }
