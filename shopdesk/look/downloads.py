"""Responses with a file."""

from typing import IO

from csp.constants import NONE
from csp.decorators import csp_replace
from django.http import FileResponse, Http404, HttpResponse
from django.http.response import HttpResponseBase

CONTENT_TYPES = {
    "csv": "text/csv; charset=utf-8",
    "jpg": "image/jpeg",
    "json": "application/json",
    "pdf": "application/pdf",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "txt": "text/plain; charset=utf-8",
    "xml": "application/xml",
    "zip": "application/zip",
}


def pdf_response(pdf: bytes, *, name: str) -> HttpResponse:
    """Return a PDF that the browser shows; `name` is its file name without ending.

    Raises: Http404 if it is empty, since it was erased with its customer.
    """
    if not pdf:
        raise Http404("The document was erased.")
    return _file(bytes(pdf), f"{name}.pdf", disposition="inline")


@csp_replace({"default-src": [NONE], "sandbox": [True]})
def jpeg_response(picture: bytes, *, name: str) -> HttpResponse:
    """Return a JPEG file that the browser shows; nothing in it could ever run."""
    response = _file(bytes(picture), f"{name}.jpg", disposition="inline")
    response["Cache-Control"] = "no-store, private"
    return response


def download(content: bytes | str | IO[bytes], *, name: str) -> HttpResponseBase:
    """Return a file to download; the ending of `name` gives its type."""
    return _file(content, name, disposition="attachment")


def _file(content, name: str, *, disposition: str) -> HttpResponseBase:
    response = HttpResponse if isinstance(content, bytes | str) else FileResponse
    return response(
        content,
        content_type=CONTENT_TYPES[name.rpartition(".")[2]],
        headers={"Content-Disposition": f'{disposition}; filename="{name}"'},
    )
