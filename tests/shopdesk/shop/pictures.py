"""Pictures as a browser would send them."""

import struct
import zlib
from io import BytesIO

from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image


def drawn(form="PNG", *, size=(600, 200), mode="RGB", color="navy", **more):
    """The bytes of a picture of one colour."""
    written = BytesIO()
    Image.new(mode, size, color).save(written, form, **more)
    return written.getvalue()


def sent(content, name="logo.png"):
    return SimpleUploadedFile(name, content)


def _chunk(kind, data):
    body = kind + data
    return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))


def flood(width=9000, height=9000):
    """A PNG of a few kilobytes that unpacks to so many dots, one bit each."""
    row = b"\0" + b"\0" * ((width + 7) // 8)
    head = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    squeezed = zlib.compressobj(9)
    data = b"".join(squeezed.compress(row) for _ in range(height)) + squeezed.flush()
    return (
        b"\x89PNG\r\n\x1a\n"
        + _chunk(b"IHDR", head)
        + _chunk(b"IDAT", data)
        + _chunk(b"IEND", b"")
    )
