from hashlib import sha256

from django.apps import apps
from django.db import models

from billing.handover.models import Parcel
from shopdesk.papers.models import StoredPdf, stored_fields


def test_a_kept_document_has_its_bytes_and_their_hash():
    parcel = Parcel()
    parcel.keep(b"%PDF-1.7")
    assert parcel.pdf == b"%PDF-1.7"
    assert parcel.pdf_sha256 == sha256(b"%PDF-1.7").hexdigest()
    assert stored_fields(b"%PDF-1.7") == {
        "pdf": parcel.pdf,
        "pdf_sha256": parcel.pdf_sha256,
    }


def test_every_record_with_a_document_keeps_it_in_this_way():
    with_document = [
        model
        for model in apps.get_models()
        if any(
            isinstance(field, models.BinaryField) and field.name == "pdf"
            for field in model._meta.local_fields
        )
    ]
    assert len(with_document) == 8
    assert [m for m in with_document if not issubclass(m, StoredPdf)] == []
