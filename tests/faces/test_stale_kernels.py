"""What was compiled before a kernel's source changed is not used again."""

from __future__ import annotations

import os
from pathlib import Path

from rushlight.jobs.warm import remove_stale


def test_kernels_older_than_any_source_go(tmp_path: Path) -> None:
    cache = tmp_path / "plan" / "__pycache__"
    cache.mkdir(parents=True)
    for name, age in (
        ("plan/outer.py", 10),
        ("plan/taken_in.py", 20),
        ("plan/no_kernel.py", 90),
        ("plan/__pycache__/outer.judge-1.py311.nbi", 15),
        ("plan/__pycache__/outer.judge-1.py311.1.nbc", 15),
        ("plan/__pycache__/taken_in.look-1.py311.nbi", 30),
        ("plan/__pycache__/outer.cpython-311.pyc", 15),
    ):
        file = tmp_path / name
        file.write_text("plain" if "no_kernel" in name else "from numba import njit")
        os.utime(file, (age, age))
    remove_stale(tmp_path)
    assert {file.name for file in cache.iterdir()} == {
        "taken_in.look-1.py311.nbi",
        "outer.cpython-311.pyc",
    }
