"""From a template to the bytes of a PDF, which `shopdesk.papers.worker` draws.

A document is the same byte for byte when rendered again from the same record.
"""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string
from django.utils import translation
from django.utils.translation import gettext

from shopdesk.errors import PdfError
from shopdesk.papers.worker import draw_pdf
from shopdesk.shop import currencies
from shopdesk.shop.models import Shop

PaperFailed = PdfError

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
    # The roll of a till.
    "80x200": "80mm 200mm",
}
"""The papers and labels we print on, as CSS says them."""

SCREENS = "en"
"""The language of the screens, and so of papers that stay in the house."""

# A label has no room for margins, nor for a foot.
LABEL = "margin: 2mm; @bottom-left { content: none } @bottom-right { content: none }"


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
    language: str = "",
) -> bytes:
    """The paper of `template` (extending shopdesk/look/paper.html) on `size`.

    `made_at` is the moment that the paper bears, not the one at which it is drawn. What
    customers get is written in the shop's language of papers, what stays here in
    `language`.
    """
    if size not in SIZES:
        raise PdfError(f"There is no paper size {size}.")
    made_at = made_at.astimezone(UTC).replace(microsecond=0)
    shop = context.get("shop") or Shop.current()
    context = {**context, "shop": shop, "made_at": made_at}
    with _speaking(language or shop.paper_language):
        request = {
            "template": template,
            "html": render_to_string(template, context),
            "page": page(size),
            "embedded": inside and _embedded(inside, made_at),
        }
    return draw_pdf(request)


def document_language(shop: Shop) -> translation.override:
    """What is written for customers within is in the shop's language of papers."""
    return _speaking(shop.paper_language)


def in_all_paper_languages(text: str) -> set[str]:
    """A fixed text in every language that papers can be written in."""
    said = set()
    for language in currencies.PAPER_LANGUAGES:
        with _speaking(language):
            said.add(gettext(text))
    return said


def _speaking(language: str) -> translation.override:
    """The desk's own kind of a language where it speaks it: British English, say."""
    own = settings.LANGUAGE_CODE
    return translation.override(own if own.split("-")[0] == language else language)


def page(size: str) -> str:
    """What CSS says of a page of this size, in the language of the moment."""
    return f"size: {SIZES[size]};" + (LABEL if size[0].isdigit() else _foot())


def _foot() -> str:
    """Which page it is of how many, where that is not said in English."""
    said = gettext("Page {n} of {all}")
    if said == "Page {n} of {all}":
        return ""
    counted = said.replace("{n}", '" counter(page) "')
    counted = counted.replace("{all}", '" counter(pages) "')
    return f' @bottom-right {{ content: "{counted}" }}'


def _embedded(inside: Inside, made_at: datetime) -> dict[str, Any]:
    schema = inside.schema
    return {
        "name": inside.name,
        "content": inside.content,
        "title": schema.title,
        "metadata": render_to_string("shopdesk/look/inside.xml", {"schema": schema}),
        "made_at": made_at,
    }
