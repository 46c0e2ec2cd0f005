"""The machine a table was made on, as far as it matters to read the table."""

import os
import platform
import sys
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path


def described(*packages: str) -> str:
    """The day, the processor and its cores, Python and the numerical packages."""
    versions = [f"{name} {version(name)}" for name in packages]
    return ", ".join(
        [
            f"{datetime.now(UTC):%Y-%m-%d}",
            f"{_processor()}, {len(os.sched_getaffinity(0))} cores",
            f"{platform.system()} {platform.machine()}",
            f"Python {sys.version.split()[0]}",
            *versions,
        ]
    )


def _processor() -> str:
    told = Path("/proc/cpuinfo")
    lines = told.read_text().splitlines() if told.exists() else []
    names = [line.split(":")[1].strip() for line in lines if line[:10] == "model name"]
    return names[0] if names else platform.processor() or "unknown processor"
