"""Whatever happens in a shop in whatever order, with whatever failing, stays right."""

import os
from collections import Counter

import pytest
from django.db import connection
from hypothesis import HealthCheck, Phase, settings
from hypothesis.stateful import run_state_machine_as_test

from shopdesk.papers import render
from tests.faults.whole_job import Workshop

IS_SOAK = "FAULT_MACHINE" in os.environ
# Fewer on PostgreSQL, which takes three times as long for each statement.
SIZE = "9 30" if connection.vendor == "sqlite" else "5 25"
EXAMPLES, STEPS = map(int, os.environ.get("FAULT_MACHINE", SIZE).split())


@pytest.mark.django_db
def test_any_order_of_work_with_faults_anywhere(monkeypatch, settings_backups):
    """Papers are not drawn here: each has a test of its own."""
    monkeypatch.setattr(render, "draw_pdf", lambda request: b"%PDF-1.7")
    done = Counter()

    class Counted(Workshop):
        def teardown(self):
            done.update(self.done)
            super().teardown()

    run_state_machine_as_test(
        Counted,
        settings=settings(
            max_examples=EXAMPLES,
            stateful_step_count=STEPS,
            derandomize=not IS_SOAK,
            database=None,
            print_blob=IS_SOAK,
            phases=[Phase.generate, Phase.shrink] if IS_SOAK else [Phase.generate],
            suppress_health_check=list(HealthCheck),
        ),
    )
    often = "failed", "sent again", "use_part", "accept", "hand_over", "record_payment"
    for what in often:
        assert done[what] > 1, dict(done)


@pytest.fixture
def settings_backups(settings, tmp_path):
    """Where erasures are noted."""
    settings.BACKUP_DIR = tmp_path
