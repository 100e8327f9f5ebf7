"""Directions on the ball: unit vectors, the angle between two, the arc between two."""

from __future__ import annotations

import math

import numpy as np


def unit(v: np.ndarray) -> np.ndarray:
    """The unit vector (3,) along v (3,), not zero."""
    return v / np.linalg.norm(v)


def angle_between(a: np.ndarray, b: np.ndarray) -> float:
    """The angle [rad] between two vectors (3,); good for small angles too."""
    return math.atan2(float(np.linalg.norm(np.cross(a, b))), float(np.dot(a, b)))


def great_arc(a: np.ndarray, b: np.ndarray, count: int = 60) -> np.ndarray:
    """Points (count, 3) along the shorter great-circle arc between two unit vectors."""
    angle = angle_between(a, b)
    if angle < 1e-9:
        return np.repeat(a[None, :], count, axis=0)
    share = np.linspace(0.0, 1.0, count)[:, None]
    return (np.sin((1.0 - share) * angle) * a + np.sin(share * angle) * b) / math.sin(angle)
