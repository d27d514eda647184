"""kill -9 at any instant: nothing reported is lost, nothing is doubled, and the same command goes on to the end.

Kills real processes. It does not model a loss of power; that the bytes are on the disk by then is what the order of
write, fsync, rename and fsync of the folder is for (``test_store_faults``).
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


def times(folder: Path, way: str, number: int, limit: int = 600) -> int:
    """Run the driver and return how often it killed or let something fail; print where."""
    environment = os.environ | {"PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    command = [sys.executable, str(ROOT / "tests" / "kill_driver.py"), str(folder / way), way, str(number)]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=limit, check=False)
    print(done.stdout)
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-4000:]
    count = re.search(r"^(\d+) times$", done.stdout, re.MULTILINE)
    assert count is not None
    return int(count[1])


@pytest.mark.slow
def test_some_kills(tmp_path: Path) -> None:
    assert times(tmp_path, "steps", 9) >= 12
    assert times(tmp_path, "moments", 8) == 8


@pytest.mark.slow
def test_a_kill_before_and_after_every_durable_step(tmp_path: Path) -> None:
    assert times(tmp_path, "steps", 1) >= 100


@pytest.mark.slow
def test_kills_at_random_moments_and_again_and_again(tmp_path: Path) -> None:
    assert times(tmp_path, "moments", 30) + times(tmp_path, "again", 40) == 70


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("strace") is None, reason="strace is not installed: apt-get install strace")
def test_kills_inside_the_database(tmp_path: Path) -> None:
    assert times(tmp_path, "calls", 5) >= 20


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("strace") is None, reason="strace is not installed: apt-get install strace")
def test_a_bad_disk_and_a_full_one(tmp_path: Path) -> None:
    assert times(tmp_path, "errors", 15) >= 40


@pytest.mark.slow
def test_three_processes_add_to_one_job_at_once(tmp_path: Path) -> None:
    assert times(tmp_path, "together", 4) == 4
