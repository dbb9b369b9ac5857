"""The layers hold, and starting the service stays light."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.house import ROOT, lay_out

LINT = """
import sys
from importlinter.cli import lint_imports
sys.exit(lint_imports(sys.argv[1], no_cache=True))
"""
HEAVY = ("scipy.signal", "scipy.optimize", "scipy.stats", "plotly", "alembic")


def contracts(tree: Path) -> subprocess.CompletedProcess:
    """Check the contracts on a tree laid out as installed: in the repository the pages lie elsewhere."""
    return subprocess.run(
        [sys.executable, "-c", LINT, str(ROOT / "pyproject.toml")],
        cwd=tree,
        env={**os.environ, "PYTHONPATH": str(tree)},
        capture_output=True,
        text=True,
    )


def test_dependencies_point_one_way(tmp_path):
    done = contracts(lay_out(tmp_path))
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize(
    ("file", "line"),
    [
        ("signals/spectra.py", "import shopmon.cli"),
        ("cutting/nouns.py", "import pathlib"),
        ("listening/events.py", "import threading"),
        ("records/__init__.py", "import shopmon.capture"),
        ("service/__init__.py", "import shopmon.dashboards"),
    ],
)
def test_the_contracts_notice_a_breach(tmp_path, file, line):
    tree = lay_out(tmp_path)
    spoiled = tree / "shopmon" / file
    spoiled.write_text(f"{spoiled.read_text()}\n{line}\n")
    done = contracts(tree)
    assert done.returncode == 1, done.stdout + done.stderr
    assert "BROKEN" in done.stdout


@pytest.mark.parametrize(
    "modules",
    [
        "shopmon.cli, shopmon.cli.listen",
        "shopmon.service.start, shopmon.service.monitor, shopmon.capture.factory",
        "shopmon.dashboards.app, shopmon.dashboards.server",
    ],
)
def test_starting_the_service_loads_nothing_heavy(modules):
    code = f"import sys, {modules}; print([name for name in {HEAVY!r} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == "[]"


def test_help_needs_no_numbers():
    code = "import sys; from shopmon.cli import main; main(['--version']); sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True).returncode == 0
