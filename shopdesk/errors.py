"""Errors by which an action is refused; their text is shown to the user."""


class RefusedError(Exception):
    """An action is refused; `str()` is a sentence for the user."""


class StaleError(RefusedError):
    """Someone else changed the record after the page was opened."""


class InvalidTransitionError(RefusedError):
    """The record's state does not allow this step."""


class IncompleteError(RefusedError):
    """Something that the action needs is missing."""


class PdfError(RefusedError):
    """A document could not be rendered."""


class EmailError(RefusedError):
    """An email cannot be sent as it is."""
