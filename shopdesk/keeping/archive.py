"""The file of a backup: a ZIP that says what is in it.

`manifest.json` names the format, the program's version, the migrations, and of each
table its columns, its rows and the SHA-256 of its file. `tables/NAME.jsonl` has a line
for each row: a JSON list of values, ordered by primary key. `keys.age`, if present, has
the keys, encrypted with a passphrase. `manifest.sha256` has the hash of the manifest.
"""

import json
import os
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path
from tempfile import mkstemp
from typing import Any

from shopdesk.errors import RefusedError
from shopdesk.recording.canonical import json_line

FORMAT = 1
PART = ".part"
MANIFEST, MANIFEST_HASH, KEYS = "manifest.json", "manifest.sha256", "keys.age"

DAMAGE = (zipfile.BadZipFile, zlib.error, EOFError, KeyError, ValueError, OSError)
"""What reading a member raises if its bytes are not those that were written."""


class ArchiveError(RefusedError):
    """A backup file cannot be written, or is not what it should be."""


def row_count(manifest: dict[str, Any]) -> int:
    return sum(table["rows"] for table in manifest["tables"].values())


def member_of(table: str) -> str:
    return f"tables/{table}.jsonl"


@contextmanager
def replaced_when_complete(path: Path) -> Iterator[Path]:
    """Yield a temporary file that gets the name `path` once it is on the disk.

    Only its owner may read it. If this process is killed, it is left behind.

    Raises: ArchiveError if the file exists or cannot be written.
    """
    if path.exists():
        raise ArchiveError(f"{path} exists already. Choose another name.")
    part = path
    try:
        descriptor, name = mkstemp(PART, f"{path.name}.", path.parent)
        os.close(descriptor)
        part = Path(name)
        yield part
        _sync(part)
        os.replace(part, path)
        _sync(path.parent)
    except OSError as error:
        raise ArchiveError(f"{path} cannot be written: {error.strerror}.") from error
    finally:
        if part != path:
            part.unlink(missing_ok=True)


def _sync(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


class Writer:
    """Writes tables one after the other, then the manifest."""

    def __init__(self, file: Path, **facts: Any) -> None:
        self._zip = zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=3)
        self._facts = {"format": FORMAT, **facts, "tables": {}}

    def add_table(
        self, table: str, columns: list[str], rows: Iterable[list[Any]]
    ) -> None:
        """Write the rows; their values must be what JSON can hold."""
        digest, count = sha256(), 0
        with self._zip.open(member_of(table), "w", force_zip64=True) as member:
            for row in rows:
                data = _line(row)
                digest.update(data)
                member.write(data)
                count += 1
        self._facts["tables"][table] = {
            "columns": columns,
            "rows": count,
            "sha256": digest.hexdigest(),
        }

    def close(self, *, keys: bytes | None = None) -> None:
        if keys is not None:
            self._zip.writestr(KEYS, keys)
        manifest = json.dumps(self._facts, indent=1, sort_keys=True).encode()
        self._zip.writestr(MANIFEST, manifest)
        self._zip.writestr(MANIFEST_HASH, sha256(manifest).hexdigest())
        self._zip.close()


def _line(row: list[Any]) -> bytes:
    return json_line(row) + b"\n"


class Archive:
    """A backup file that is read. Use it in a `with` block."""

    def __init__(self, path: Path) -> None:
        """Raises: ArchiveError if it is not a complete backup of a known format."""
        self.path = path
        try:
            self._zip = zipfile.ZipFile(path)
        except OSError as error:
            raise ArchiveError(f"{path} cannot be read: {error.strerror}.") from error
        except zipfile.BadZipFile as error:
            raise ArchiveError(
                f"{path} is not a backup file, or its end is missing."
            ) from error
        manifest = self._read(MANIFEST)
        if sha256(manifest).hexdigest().encode() != self._read(MANIFEST_HASH):
            raise ArchiveError(f"{path}: {MANIFEST} was changed or is damaged.")
        self.manifest = json.loads(manifest)
        if self.manifest["format"] > FORMAT:
            raise ArchiveError(
                f"{path} was written by version {self.manifest['version']} of this"
                " program in a newer format. Install that version or a later one."
            )

    def __enter__(self) -> "Archive":
        return self

    def __exit__(self, *error: object) -> None:
        self._zip.close()

    @property
    def tables(self) -> dict[str, dict[str, Any]]:
        """Columns, number of rows and SHA-256 of each table."""
        tables: dict[str, dict[str, Any]] = self.manifest["tables"]
        return tables

    @property
    def keys(self) -> bytes | None:
        """The encrypted keys, if the backup has them."""
        return self._read(KEYS) if KEYS in self._zip.namelist() else None

    def rows(self, table: str) -> Iterator[list[Any]]:
        """Yield the rows of a table.

        Raises: ArchiveError, at the end of the table, if any of them is not as it was
        written.
        """
        facts, digest, count = self.tables[table], sha256(), 0
        name = member_of(table)
        try:
            with self._zip.open(name) as member:
                for line in member:
                    digest.update(line)
                    count += 1
                    row = json.loads(line)
                    if len(row) != len(facts["columns"]):
                        raise ValueError(f"line {count} has another number of columns")
                    yield row
        except DAMAGE as error:
            raise ArchiveError(f"{self.path}: {name} is damaged: {error}.") from error
        if count != facts["rows"]:
            raise ArchiveError(
                f"{self.path}: {name} has {count} rows instead of {facts['rows']}."
            )
        if digest.hexdigest() != facts["sha256"]:
            raise ArchiveError(f"{self.path}: {name} was changed or is damaged.")

    def _read(self, name: str) -> bytes:
        try:
            return self._zip.read(name)
        except DAMAGE as error:
            raise ArchiveError(
                f"{self.path}: {name} is missing or damaged. This is not a complete"
                " backup."
            ) from error
