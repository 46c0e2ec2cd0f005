"""Who may say that a request came by HTTPS."""

import os
import runpy
import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings

from shopdesk.checks import copy_is_of_the_same_kind, https_is_recognised

SETTINGS = Path(__file__).resolve().parents[2] / "shopdesk" / "settings.py"


@pytest.mark.parametrize(
    ("environment", "is_trusted"),
    [
        ({}, False),
        ({"HTTPS": "1"}, False),
        ({"PROXIES": "1"}, False),
        ({"HTTPS": "1", "PROXIES": "1"}, True),
    ],
)
def test_the_header_of_a_proxy_is_trusted_only_behind_a_proxy(
    monkeypatch, tmp_path, environment, is_trusted
):
    monkeypatch.setenv("SHOPDESK_DATA", str(tmp_path))
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    assert ("SECURE_PROXY_SSL_HEADER" in runpy.run_path(SETTINGS)) is is_trusted


@pytest.mark.parametrize(
    ("https", "proxies", "warnings"), [(False, 0, 0), (True, 0, 1), (True, 1, 0)]
)
def test_https_without_a_proxy_is_warned_about(settings, https, proxies, warnings):
    settings.HTTPS, settings.PROXIES = https, proxies
    assert len(https_is_recognised()) == warnings


@pytest.mark.parametrize(
    ("main", "copy", "errors"),
    [("sqlite3", None, 0), ("postgresql",) * 2 + (0,), ("sqlite3", "postgresql", 1)],
)
def test_a_copy_needs_postgresql(monkeypatch, main, copy, errors):
    engines = {"default": main} | ({"analysis": copy} if copy else {})
    databases = {
        name: {"ENGINE": f"django.db.backends.{engine}"}
        for name, engine in engines.items()
    }
    monkeypatch.setattr(settings, "DATABASES", databases)
    assert len(copy_is_of_the_same_kind()) == errors


def test_djangos_checks_for_deployment_find_nothing(tmp_path):
    """With the settings of a shop behind a proxy that terminates TLS."""
    environment = {"PATH": os.environ["PATH"], "SHOPDESK_DATA": str(tmp_path)}
    environment |= {"HTTPS": "1", "PROXIES": "1", "ALLOWED_HOSTS": "shop.example"}
    ran = subprocess.run(
        [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"],
        cwd=SETTINGS.parents[1],
        env=environment,
        capture_output=True,
        text=True,
    )
    assert ran.returncode == 0, ran.stderr
