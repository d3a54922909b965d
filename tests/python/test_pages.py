"""What people read of the package: every public thing is described, every example does what it says."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(os.environ.get("FAULTLOOM_ROOT", Path(__file__).resolve().parents[2]))
TOOLS = ROOT / "tests" / "tools"


def _run(tool: str, *arguments: object) -> None:
    command = [sys.executable, str(TOOLS / tool), *map(str, arguments)]
    ended = subprocess.run(command, capture_output=True, text=True, check=False, timeout=600)
    assert ended.returncode == 0, ended.stdout + ended.stderr


def test_the_programs_on_the_pages_run() -> None:
    _run("check_examples.py", "python", ROOT)


def test_everything_public_is_in_the_reference(tmp_path: Path) -> None:
    _run("reference.py", "python", ROOT, tmp_path / "reference")
