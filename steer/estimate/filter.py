"""Kalman prediction and updates for a stack of planes at once.

Arrays carry the stack first: x (b, n), P (b, n, n). Updates are scalar, one channel of every plane
at a time, so a plane whose channel is missing or refused is simply masked. With scalar updates the
covariance is P − (P·h)(P·h)ᵀ/S, which is symmetric by construction; S is bounded below by R > 0.

Source: Bar-Shalom, Li and Kirubarajan, Estimation with Applications to Tracking and Navigation
(2001), chapter 5 (recursion) and 7 (scalar updates, from memory).
"""

from __future__ import annotations

import numpy as np


def predict(
    x: np.ndarray, p: np.ndarray, phi: np.ndarray, u: np.ndarray, q: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """x' = Φx + u, P' = ΦPΦᵀ + Q, symmetrised. Shapes (b,n), (b,n,n), (b,n,n), (b,n), (…,n,n)."""
    x = np.einsum("bij,bj->bi", phi, x) + u
    p = phi @ p @ np.swapaxes(phi, -1, -2) + q
    return x, 0.5 * (p + np.swapaxes(p, -1, -2))


def innovation(
    x: np.ndarray, p: np.ndarray, z: np.ndarray, h: np.ndarray, r: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Measured minus predicted, and its variance: z, r (b,), h (b, n) -> (b,), (b,)."""
    nu = z - np.einsum("bi,bi->b", h, x)
    s = np.einsum("bi,bij,bj->b", h, p, h) + r
    return nu, s


def update(
    x: np.ndarray, p: np.ndarray, z: np.ndarray, h: np.ndarray, r: np.ndarray, use: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """One scalar measurement per plane where `use` is true: returns x, P, innovation, its variance.

    z, r, use: (b,), h: (b, n). Where `use` is false z and r may be NaN; x and P stay as they are.
    """
    z = np.where(use, z, 0.0)
    r = np.where(use, r, 1.0)
    ph = np.einsum("bij,bj->bi", p, h)
    nu = z - np.einsum("bi,bi->b", h, x)
    s = np.einsum("bi,bi->b", h, ph) + r
    k = np.where(use[:, None], ph / s[:, None], 0.0)
    x = x + k * nu[:, None]
    p = p - k[:, :, None] * ph[:, None, :]
    p = 0.5 * (p + np.swapaxes(p, -1, -2))
    return x, p, nu, s


def hold_within(x: np.ndarray, p: np.ndarray, state: int, low: float, high: float) -> np.ndarray:
    """Move x (b, n) to the nearest point, in the metric of P, where low <= x[state] <= high."""
    own = x[:, state]
    if low <= own.min() and own.max() <= high:
        return x
    step = np.clip(own, low, high) - own
    return x + p[:, :, state] * (step / np.maximum(p[:, state, state], 1e-300))[:, None]
