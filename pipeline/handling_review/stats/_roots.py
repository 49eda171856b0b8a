"""Roots of many monotone functions at once, each inside a bracket that is known to hold it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from handling_review.stats._inputs import Array

Index = NDArray[np.intp]
MOST_STEPS = 200  # plain halving alone needs fewer than 130 to exhaust a double


def bracketed(function: Callable[[Array, Index], Array], low: Array, high: Array) -> Array:
    """Solve ``function(x, index) == 0`` for x in [low, high], element by element.

    ``low`` and ``high`` are 1-D arrays of the same length. ``function`` gets the points still being worked
    on and their positions in the whole, must be monotone in each bracket, and be of opposite sign (or 0) at
    its ends. Inverse quadratic interpolation guarded by halving (Chandrupatla 1997, Advances in Engineering
    Software 28:145-149), to four units in the last place of x.
    """
    answer = np.where(np.abs(low) < np.abs(high), low, high).astype(np.float64)
    index: Index = np.arange(low.size, dtype=np.intp)
    a, b = high.astype(np.float64), low.astype(np.float64)
    fa, fb = function(a, index), function(b, index)
    c, fc = a.copy(), fa.copy()
    step = np.full(low.size, 0.5)
    for _ in range(MOST_STEPS):
        x = a + step * (b - a)
        fx = function(x, index)
        same = np.sign(fx) == np.sign(fa)
        c, fc = np.where(same, a, b), np.where(same, fa, fb)
        b, fb = np.where(same, b, a), np.where(same, fb, fa)
        a, fa = x, fx
        best, f_best = np.where(np.abs(fa) < np.abs(fb), a, b), np.minimum(np.abs(fa), np.abs(fb))
        slack = 4 * np.finfo(float).eps * np.abs(best) + np.finfo(float).tiny
        room = np.abs(b - a)
        done = (f_best == 0) | (room <= slack)
        answer[index[done]] = best[done]
        left = ~done
        if not left.any():
            return answer
        index, a, b, c = index[left], a[left], b[left], c[left]
        fa, fb, fc = fa[left], fb[left], fc[left]
        step = _next_step(a, b, c, fa, fb, fc, 0.5 * slack[left] / room[left])
    answer[index] = best[left]
    return answer


def _next_step(a: Array, b: Array, c: Array, fa: Array, fb: Array, fc: Array, least: Array) -> Array:
    """How far from a towards b to look next: interpolated where that is safe, else half way."""
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        place = (a - b) / (c - b)
        height = (fa - fb) / (fc - fb)
        safe = (height**2 < place) & ((1 - height) ** 2 < 1 - place)
        step = fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)
    step = np.where(safe & np.isfinite(step), step, 0.5)
    return np.clip(step, least, 1 - least)
