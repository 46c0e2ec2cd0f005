"""What the commands `backup`, `verify_backup` and `restore` share."""

import sys
from contextlib import contextmanager
from getpass import getpass

from django.core.management.base import CommandError
from tqdm import tqdm

from shopdesk.errors import RefusedError


@contextmanager
def refusals_as_errors():
    """Show a refusal as the error of the command, without a traceback."""
    try:
        yield
    except RefusedError as refusal:
        raise CommandError(str(refusal)) from refusal


@contextmanager
def progress_bar(text: str):
    """Yield the arguments `start` and `progress`; the bar shows only on a terminal."""
    with tqdm(desc=text, unit=" rows", disable=None, leave=False) as bar:
        yield {"start": bar.reset, "progress": bar.update}


def read_passphrase(file, *, is_new: bool) -> str:
    """Return the passphrase in the first line of `file`, or typed in.

    Raises: CommandError if there is none, or two entries differ.
    """
    if file is not None:
        passphrase = file.readline().rstrip("\n")
    elif sys.stdin.isatty():
        passphrase = getpass("Passphrase: ")
        if is_new and getpass("Repeat passphrase: ") != passphrase:
            raise CommandError("The passphrases differ.")
    else:
        raise CommandError("Give the passphrase with --passphrase-file.")
    if not passphrase:
        raise CommandError("The passphrase is empty.")
    return passphrase
