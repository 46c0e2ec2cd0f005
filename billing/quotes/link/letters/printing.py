"""The words of the letters about an answer: the first line is the subject."""

import re

from django.template.loader import render_to_string

from shopdesk.printing import in_paper_language
from shopdesk.shop.models import Shop


def letter_words(template: str, facts: dict, *, shop: Shop) -> tuple[str, str]:
    """Subject and text, in the shop's language of papers."""
    with in_paper_language(shop):
        said = render_to_string(
            f"billing/quotes/link/letters/{template}.txt", {**facts, "shop": shop}
        )
    # What a template leaves out leaves its empty lines.
    said = re.sub(r"[ \t]+\n", "\n", said.strip())
    subject, _, text = re.sub(r"\n{3,}", "\n\n", said).partition("\n")
    return subject, text.strip() + "\n"
