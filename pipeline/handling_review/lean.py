"""How this process runs: settings of Python and of the linear algebra library that fit one build, then the end."""

from __future__ import annotations

import atexit
import gc
import os
from functools import cache

_NEW_OBJECTS = 500_000  # between two searches for unreachable rings of objects; Python's own 700 makes hundreds of them
_OLDER = 4  # searches of the new ones to one of the older ones


@cache
def settle() -> None:
    """Before numpy and Polars are loaded: one thread for each, and few searches of the memory, none at the end.

    The largest matrix has 20,000 rows and some dozens of columns. More threads only wait for each other, which cost
    half a second of processor time a build. Polars judges short columns of distinct texts in thousands of calls, each
    dearer with a second thread; where there are many rows, parser and database use the processors beside it. The large
    tables are freed without any search: they are in no ring. At the end Python would search all that was loaded several
    times, for another half second, and then give it all back.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ.setdefault("POLARS_MAX_THREADS", "1")
    gc.set_threshold(_NEW_OBJECTS, _OLDER, _OLDER)
    atexit.register(gc.freeze)
