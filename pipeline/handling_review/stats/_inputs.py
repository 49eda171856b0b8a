"""What every function here asks of its arguments, in one place, with one sentence for each refusal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Values = Sequence[float] | NDArray[Any]  # a 1-D list of numbers

BASE_HOURS = 200_000.0  # 100 full-time staff x 40 h x 50 weeks (29 CFR 1904, BLS)
LARGEST_COUNT = 1e12  # above this a float no longer tells neighbouring counts apart in a sum of squares


def numbers(name: str, values: float | Values) -> Array:
    """``values`` as floats, at most one dimension, none missing; ``ValueError`` otherwise."""
    try:
        found = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise ValueError(f"{name} must be numbers, got {values!r}") from error
    if found.ndim > 1:
        raise ValueError(f"{name} must be one number or a one-dimensional list, got {found.ndim} dimensions")
    if np.isnan(found).any():
        raise ValueError(f"{name} must not be missing (nan)")
    return found


def counts(name: str, values: float | Values) -> Array:
    """``values`` as counts: finite, whole, not negative; ``ValueError`` otherwise."""
    found = numbers(name, values)
    if not np.isfinite(found).all() or (found < 0).any() or (found != np.floor(found)).any():
        raise ValueError(f"{name} must be whole numbers of 0 or more, got {_shown(found)}")
    if (found > LARGEST_COUNT).any():
        raise ValueError(f"{name} must not exceed {LARGEST_COUNT:.0e}, got {_shown(found)}")
    return found


def positive(name: str, values: float | Values) -> Array:
    """``values`` as finite numbers above 0 (hours, exposures); ``ValueError`` otherwise."""
    found = numbers(name, values)
    if not np.isfinite(found).all() or (found <= 0).any():
        raise ValueError(f"{name} must be above 0 and finite, got {_shown(found)}")
    return found


def not_negative(name: str, values: float | Values) -> Array:
    """``values`` as finite numbers of 0 or more; ``ValueError`` otherwise."""
    found = numbers(name, values)
    if not np.isfinite(found).all() or (found < 0).any():
        raise ValueError(f"{name} must be 0 or more and finite, got {_shown(found)}")
    return found


def events_and_hours(events: float | Values, hours: float | Values) -> tuple[Array, Array]:
    """Counts with the hours they happened on, 1-D; hours may be 0 where there is no event."""
    y, t = (
        np.atleast_1d(values)
        for values in same_length(events=counts("events", events), hours=not_negative("hours", hours))
    )
    if ((t == 0) & (y > 0)).any():
        raise ValueError("hours must be above 0 wherever there are events")
    return y, t


def positive_number(name: str, value: float) -> float:
    """``value`` as one finite number above 0; ``ValueError`` otherwise."""
    return _single(name, positive(name, value))


def finite_number(name: str, value: float) -> float:
    """``value`` as one finite number; ``ValueError`` otherwise."""
    found = _single(name, numbers(name, value))
    if not np.isfinite(found):
        raise ValueError(f"{name} must be finite, got {found}")
    return found


def count(name: str, value: float) -> int:
    """``value`` as one count; ``ValueError`` otherwise."""
    return int(_single(name, counts(name, value)))


def share(name: str, value: float) -> float:
    """``value`` as one number strictly between 0 and 1 (a confidence, an alpha); ``ValueError`` otherwise."""
    found = _single(name, numbers(name, value))
    if not 0 < found < 1:
        raise ValueError(f"{name} must be between 0 and 1 (for example 0.95), got {found}")
    return found


def choice(name: str, value: str, known: tuple[str, ...]) -> str:
    """``value`` if it is one of ``known``; ``ValueError`` naming them otherwise."""
    if value not in known:
        raise ValueError(f"{name} must be one of {', '.join(known)}; got {value!r}")
    return value


def same_length(**named: Array) -> tuple[Array, ...]:
    """The arrays stretched to one length; a single number fits any length; ``ValueError`` otherwise."""
    try:
        return tuple(np.broadcast_arrays(*named.values()))
    except ValueError as error:
        sizes = ", ".join(f"{name} {array.size}" for name, array in named.items())
        raise ValueError(f"lists must have the same length, got {sizes}") from error


def _single(name: str, found: Array) -> float:
    if found.ndim:
        raise ValueError(f"{name} must be one number, got a list of {found.size}")
    return float(found)


def _shown(found: Array) -> str:
    return str(float(found)) if found.ndim == 0 else str(found.tolist()[:5])
