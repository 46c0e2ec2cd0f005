import pytest
from django.core.management import CommandError, call_command

from repairs.faults.models import Fix
from tests import make
from tests.repairs.history.files import records

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("what", ["customer", "user", "part"])
def test_a_database_with_another_shop_is_refused(what):
    getattr(make, what)()
    before = records()
    with pytest.raises(CommandError, match="already holds a shop"):
        call_command("demo")
    assert records() == before
    assert not Fix.objects.exists()
