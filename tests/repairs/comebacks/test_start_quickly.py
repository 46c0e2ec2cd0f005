"""What the reckoning needs is imported by the first page that reckons, not before."""

import os
import subprocess
import sys

import pytest

SLOW = ("numpy", "pandas", "scipy")


@pytest.mark.parametrize(
    "said",
    [
        "django.core.management.call_command('check')",
        "django.urls.reverse('comebacks:month')",
        "django.urls.resolve('/comebacks/month/2026/5/')",
    ],
)
def test_starting_and_finding_an_address_waits_for_no_reckoning(said):
    program = (
        "import sys, django, django.core.management, django.urls\n"
        "django.setup()\n"
        f"{said}\n"
        f"print([name for name in {SLOW} if name in sys.modules])"
    )
    run = subprocess.run(
        [sys.executable, "-c", program],
        env=os.environ | {"DJANGO_SETTINGS_MODULE": "shopdesk.settings"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert run.stdout.splitlines()[-1] == "[]"
