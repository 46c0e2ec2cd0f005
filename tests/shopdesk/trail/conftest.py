import pytest

from shopdesk.recording.acting import acting
from tests import make


@pytest.fixture
def ada(db):
    """The owner, who acts in the test."""
    person = make.user(name="Ada Brook")
    with acting("web", person):
        yield person
