"""What OPERATIONS.md tells an owner to type exists, and the samples are sound."""

import configparser
import json
import re
import shutil
import subprocess
import sys

import pytest
from django.core.management import get_commands

from tests.shopdesk.serving.conftest import ROOT

pytestmark = pytest.mark.once

GUIDE = (ROOT / "OPERATIONS.md").read_text()
README = (ROOT / "README.md").read_text()
MAKEFILE = (ROOT / "Makefile").read_text()
CODE = (ROOT / "shopdesk/settings.py").read_text()
CODE += (ROOT / "gunicorn.conf.py").read_text()
SAMPLE_SETTINGS = (ROOT / "deploy" / "shopdesk.env").read_text()
DEPLOY = sorted((ROOT / "deploy").iterdir())
UNITS = [path for path in DEPLOY if path.suffix in (".service", ".timer")]


def read_by_the_code(setting):
    return re.search(rf"""(env[\w.]*|get)\(\s*"{setting}\"""", CODE)


def test_every_command_exists():
    named = set(re.findall(r"sudo shopdesk ([a-z_]+)", GUIDE)) - {"help"}
    assert len(named) > 6 and named <= set(get_commands())
    targets = set(re.findall(r"\bmake ([a-z]+)\b(?= *[`\n])", GUIDE))
    assert targets and all(f"\n{target}:" in MAKEFILE for target in targets)


def test_every_setting_is_read_by_the_code():
    words = set(re.findall(r"`([A-Z_]{4,})(?:=[^`]*)?`", GUIDE))
    sample = re.findall(r"^(?:# )?([A-Z_]{4,})=", SAMPLE_SETTINGS, re.MULTILINE)
    placeholders = {"FILE"}
    named = (words | set(sample)) - placeholders
    assert len(named) > 9
    assert [name for name in sorted(named) if not read_by_the_code(name)] == []


def test_every_file_exists_and_is_named():
    named = set(re.findall(r"deploy/([\w.-]+\w)", GUIDE))
    assert [name for name in named if not (ROOT / "deploy" / name).exists()] == []
    patterns = {path.suffix for path in UNITS}
    assert all(f"deploy/*{suffix}" in GUIDE for suffix in patterns)
    others = {path.name for path in DEPLOY} - {path.name for path in UNITS}
    assert others == named
    assert "OPERATIONS.md" in README


def test_the_units_are_sound(tmp_path):
    for unit in UNITS:
        text = unit.read_text()
        # systemd looks whether the programs exist.
        text = text.replace("/opt/shopdesk/.venv/bin/python", sys.executable)
        (tmp_path / unit.name).write_text(text)
        parser = configparser.ConfigParser(strict=False, interpolation=None)
        parser.optionxform = str
        parser.read_string(text)
        part = "Timer" if unit.suffix == ".timer" else "Service"
        assert {"Unit", part} <= set(parser.sections())
        if unit.suffix == ".timer":
            assert unit.with_suffix(".service") in UNITS
    verify = shutil.which("systemd-analyze")
    if verify is None:
        pytest.skip("systemd-analyze is not installed here; the units were only read")
    ran = subprocess.run(
        [verify, "verify", *sorted(tmp_path.iterdir())], capture_output=True, text=True
    )
    assert (ran.returncode, ran.stderr) == (0, "")


def test_the_service_waits_longer_than_requests_may_take():
    limit = int(re.search(r"^graceful_timeout = (\d+)", CODE, re.MULTILINE)[1])
    unit = (ROOT / "deploy" / "shopdesk.service").read_text()
    assert int(re.search(r"TimeoutStopSec=(\d+)", unit)[1]) > limit


def test_the_list_of_components_is_the_lock(tmp_path):
    recipe = re.search(r"^sbom:.*?(?=\n\n|\Z)", MAKEFILE, re.MULTILINE | re.DOTALL)[0]
    words = re.search(r"-m (cyclonedx_py .*?)\n\t@", recipe, re.DOTALL)[1]
    words = words.replace("\\\n", "").replace(".cache", str(tmp_path)).split()
    subprocess.run(
        [sys.executable, "-W", "ignore", "-m", *words],
        cwd=ROOT,
        check=True,
        capture_output=True,
    )
    listed = json.loads((tmp_path / "sbom.json").read_text())
    assert listed["bomFormat"] == "CycloneDX"
    lock = (ROOT / "requirements.lock").read_text()
    line = re.compile(r"^([\w.-]+)(?:\[[\w,]+\])?==([^\s;]+)", re.MULTILINE)
    locked = set(line.findall(lock))
    found = {(part["name"], part["version"]) for part in listed["components"]}
    assert found == locked
