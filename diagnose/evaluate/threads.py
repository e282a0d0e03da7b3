"""Math libraries held to one thread: workers already use every core, and more threads only get in each other's way."""

from __future__ import annotations

import os

ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MKL_NUM_THREADS": "1", "NUMEXPR_NUM_THREADS": "1"}


def hold_to_one_thread() -> None:
    """Ask the math libraries for one thread; works only before they are loaded, so this module loads none."""
    for name, value in ONE_THREAD.items():
        os.environ.setdefault(name, value)
