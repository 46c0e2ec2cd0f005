"""PostgreSQL crashes while the shop is used: it comes back without a restart."""

import shutil
import subprocess
import tempfile

import pytest
from django.db import connection

from tests.shopdesk.serving.conftest import OWNER, ROOT, Server, Visitor


def postgres(*words):
    command = ["bash", ROOT / ".ci" / "postgres", *words]
    ran = subprocess.run(command, check=True, capture_output=True, text=True)
    return ran.stdout.strip()


@pytest.fixture
def own_postgres():
    """A PostgreSQL of this test alone: the folder and the address."""
    if connection.vendor != "postgresql":
        pytest.skip("is about PostgreSQL")
    # Short, as the path of a socket may have at most 100 characters.
    outer = tempfile.mkdtemp(prefix="shopdesk.", dir="/tmp")
    subprocess.run(["chmod", "711", outer], check=True)
    folder = f"{outer}/pg"
    try:
        yield folder, postgres("start", folder)
    finally:
        postgres("stop", folder)
        shutil.rmtree(outer)


def test_only_requests_of_that_moment_fail(own_postgres, tmp_path):
    folder, url = own_postgres
    server = Server(tmp_path, DATABASE_URL=url)
    server.manage("migrate", "-v", "0")
    server.manage("shell", "-v", "0", "-c", OWNER)
    try:
        server.start()
        staff = Visitor(server.port)
        staff.sign_in()
        before = [staff.get("/").status for _ in range(4)]
        postgres("restart", folder)
        after = [staff.get("/").status for _ in range(8)]
        assert before + after == [200] * 12
        postgres("stop", folder)
        away = server.get("/health/")
        assert (away.status, away.text) == (503, "failed\n")
        assert away.headers["Retry-After"] == "10"
        page = staff.get("/")
        assert page.status == 503 and "database cannot be reached" in page.text
        assert "Traceback" not in page.text and folder not in page.text
    finally:
        server.stop()
