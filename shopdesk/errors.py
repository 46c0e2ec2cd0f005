"""What the desk refuses: one kind of error whose text is shown to the user."""


class RefusedError(Exception):
    """An action is refused; `str()` is a sentence for the person who asked for it."""


class StaleError(RefusedError):
    """Somebody else changed the record after the page was opened."""


class InvalidTransitionError(RefusedError):
    """The record is in a state from which this step is not allowed."""


class IncompleteError(RefusedError):
    """Something that the action needs is missing."""


class PdfError(RefusedError):
    """A document could not be rendered."""


class EmailError(RefusedError):
    """An email cannot be sent as it is."""
