"""How large a form with files may be."""

from django.core.exceptions import RequestDataTooBig
from django.core.files.uploadhandler import FileUploadHandler

MAX_FORM = 100_000_000
"""Bytes: twenty photos of a phone."""


class FormSizeLimit(FileUploadHandler):
    """Refuses a form by its stated length, before anything of it is stored.

    The server passes on no more than that length.
    """

    def handle_raw_input(
        self, input_data, META, content_length, boundary, encoding=None
    ):
        if content_length > MAX_FORM:
            raise RequestDataTooBig(f"The form has {content_length} bytes.")

    def receive_data_chunk(self, raw_data, start):
        return raw_data

    def file_complete(self, file_size):
        return None
