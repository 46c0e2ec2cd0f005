import pytest
from django.core.cache import cache


@pytest.fixture(autouse=True)
def _nothing_kept():
    """Records are kept from page to page, but not from test to test."""
    cache.clear()
