"""Weighted least squares of labelled rows, exact rows as constraints, and what they leave open."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from .rows import Row, Unknown, keys

RANK = 1e-10  # of the largest singular value; below it, something is not determined


@dataclass(frozen=True)
class Estimate:
    """A value and its standard uncertainty, in the same unit."""

    value: float
    u: float


@dataclass(frozen=True)
class Solution:
    """Least squares of some rows: ``x = gain @ y``.

    Shapes for n unknowns and m rows: `gain` (n, m), `x` (n,), `covariance`
    (n, n), `null` (n, q) a basis of what is not determined, `redundancy` (m,),
    `residuals` (m,), in the units of the rows.
    """

    unknowns: list[Unknown]
    gain: np.ndarray = field(repr=False)
    x: np.ndarray = field(repr=False)
    covariance: np.ndarray = field(repr=False)
    null: np.ndarray = field(repr=False)
    redundancy: np.ndarray = field(repr=False)
    residuals: np.ndarray = field(repr=False)
    dof: int

    def estimate(self, key: Unknown) -> Estimate:
        """Value and uncertainty of one unknown."""
        i = self.unknowns.index(key)
        return Estimate(float(self.x[i]), math.sqrt(self.covariance[i, i]))

    def named(self, kind: str) -> dict[str, float]:
        """Values of all unknowns of one kind, by name."""
        return {key[1]: float(x) for key, x in zip(self.unknowns, self.x) if key[0] == kind}

    def determined(self, key: Unknown) -> bool:
        """Whether the rows determine an unknown."""
        return bool(np.abs(self.null[self.unknowns.index(key)]).max(initial=0.0) < 1e-6)


def solve(rows_: Sequence[Row]) -> Solution:
    """Weighted least squares with exact rows substituted.

    Parameters
    ----------
    rows_ : sequence of Row
        A row with ``u = 0`` is a constraint, not a weight.

    Returns
    -------
    Solution

    Notes
    -----
    Columns are scaled, rows whitened, and the singular values of the rows
    themselves (never of the normal equations) tell what is determined.
    """
    unknowns = keys(rows_)
    column = {key: i for i, key in enumerate(unknowns)}
    design = np.zeros((len(rows_), len(unknowns)))
    for i, row in enumerate(rows_):
        for key, coefficient in row.terms.items():
            design[i, column[key]] = coefficient
    y, u = np.array([row.value for row in rows_]), np.array([row.u for row in rows_])
    exact, weight = u == 0, 1 / np.where(u == 0, 1.0, u)
    scale = np.linalg.norm(design * weight[:, None], axis=0)
    scale[scale == 0] = 1.0
    scaled = design / scale
    norm = np.linalg.norm(scaled[exact], axis=1)
    norm[norm == 0] = 1.0
    fixed, free = _pseudo_inverse(scaled[exact] / norm[:, None])
    fixed = fixed / norm
    white, rest = _pseudo_inverse(scaled[~exact] @ free * weight[~exact, None])
    gain = np.zeros((len(unknowns), len(rows_)))
    gain[:, ~exact] = free @ white * weight[~exact]
    gain[:, exact] = fixed - gain[:, ~exact] @ scaled[~exact] @ fixed
    leverage = np.ones(len(rows_))
    leverage[~exact] = np.einsum("ij,ji->i", scaled[~exact], gain[:, ~exact])
    x = gain @ y
    spread = gain * u / scale[:, None]
    return Solution(unknowns, gain / scale[:, None], x / scale, spread @ spread.T, free @ rest, 1 - leverage,
                    y - scaled @ x, len(rows_) - len(unknowns) + rest.shape[1])


def _pseudo_inverse(matrix: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pseudo-inverse (n, m) and an orthonormal basis of the null space (n, q)."""
    m, n = matrix.shape
    if not m:
        return np.zeros((n, 0)), np.eye(n)
    left, values, right = np.linalg.svd(matrix, full_matrices=m < n)  # of all of n, whatever m
    rank = int(np.sum(values > RANK * values.max(initial=0.0)))
    return (right[:rank].T / values[:rank]) @ left[:, :rank].T, right[rank:].T
