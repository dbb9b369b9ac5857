"""Radau collocation: how a vibration mode answers a force known at a few points of an interval.

The points are the right Radau points (the end of the interval among them, its start not), so that intervals
join without doubled points; the answer converges faster than any power of the number of points.
"""

from functools import lru_cache

import numpy as np
from numpy.polynomial import legendre

LOG_HALF = -0.6931471805599453  # keeps the weights of many points on (−1, 1] from overflowing


@lru_cache(maxsize=256)
def radau(count: int) -> tuple[np.ndarray, np.ndarray]:
    """Points in (−1, 1] and the matrix that differentiates a polynomial given at −1 and at them.

    Parameters
    ----------
    count
        Number of points, from 2.

    Returns
    -------
    points, derivative
        Shapes ``(count,)`` and ``(count, count + 1)``; the first column belongs to −1.
    """
    series = np.zeros(count + 1)
    series[count - 1 :] = 1.0  # P_{n−1} + P_n vanishes at the left Radau points
    points = np.sort(-legendre.legroots(series).real)
    points[-1] = 1.0
    return points, _derivative(np.concatenate(([-1.0], points)))[1:]


def _derivative(points: np.ndarray) -> np.ndarray:
    """Differentiation matrix in barycentric form, its rows adding up to 0."""
    apart = points[:, None] - points
    np.fill_diagonal(apart, 1.0)
    logs = np.log(np.abs(apart)).sum(axis=1)
    sign = np.prod(np.sign(apart), axis=1)
    ratio = (sign[:, None] / sign) * np.exp(logs[:, None] - logs)
    matrix = ratio / apart
    np.fill_diagonal(matrix, 0.0)
    np.fill_diagonal(matrix, -matrix.sum(axis=1))
    return matrix


def interpolation(points: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """Matrix that takes a polynomial from its values at `points` to those at `wanted`.

    Returns
    -------
    numpy.ndarray
        Shape ``(wanted.size, points.size)``.
    """
    apart = points[:, None] - points
    np.fill_diagonal(apart, 1.0)
    size = points.size * LOG_HALF - np.log(np.abs(apart)).sum(axis=1)
    weight = np.prod(np.sign(apart), axis=1) * np.exp(size)
    gap = wanted[:, None] - points
    hit = np.abs(gap) < 1e-13
    terms = weight / np.where(hit, 1.0, gap)
    terms = np.where(hit.any(axis=1, keepdims=True), hit, terms)
    return terms / terms.sum(axis=1, keepdims=True)


def answer(pole: np.ndarray, length: np.ndarray, count: int) -> np.ndarray:
    """Solve z' = pole · z + F from rest at the start of an interval.

    Parameters
    ----------
    pole
        Complex, 1/s, of any shape.
    length
        Of the interval, s, of a shape that fits.
    count
        Number of points.

    Returns
    -------
    numpy.ndarray
        Matrix from F at the points to z at the points, shape ``(..., count, count)``.
    """
    half = np.asarray(length / 2)[..., None, None]
    _, derivative = radau(count)
    return half * np.linalg.inv(derivative[:, 1:] - np.asarray(pole)[..., None, None] * half * np.eye(count))
