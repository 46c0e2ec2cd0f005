"""Issued documents, stored once, byte for byte."""

from hashlib import sha256

from django.db import models


def stored_fields(pdf: bytes) -> dict[str, bytes | str]:
    """Return the values of the fields of `StoredPdf` for this document."""
    return {"pdf": pdf, "pdf_sha256": sha256(pdf).hexdigest()}


class StoredPdf(models.Model):
    """A record with the document issued for it, which is never rendered again.

    A record whose document is made later overrides both fields: empty until then.
    """

    pdf = models.BinaryField(editable=False)
    pdf_sha256 = models.CharField(max_length=64, editable=False)

    class Meta:
        abstract = True

    def keep(self, pdf: bytes) -> None:
        """Set the document; the caller saves the record."""
        for name, value in stored_fields(pdf).items():
            setattr(self, name, value)
