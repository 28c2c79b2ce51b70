"""Rows of the network: what they hold, and the point at which they are linearised."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from .air import State
from .records import Reading
from .uncertainty import Contribution, combine

Unknown = tuple[str, ...]
CURVATURE: Unknown = ("curvature",)
STABILITY: Unknown = ("stability model",)  # what all airs with a profile share of the error of their stability
PROFILED = ("strength", "stability", "vapour")  # kinds of unknowns of an air with a profile
BENDING = {"refraction", *PROFILED, "departure"}  # kinds that bend the rays


@dataclass(frozen=True)
class Row:
    """One observation or prior: ``value = sum(terms) ± u``, its parts by cause.

    `kind` is ``"reading"``, ``"height"``, ``"air"`` or ``"prior"``; `value` and `u` are in
    the unit of the row (m, or that of the unknown for a prior); `scatter` is the
    spread of repeated readings over their stated uncertainty; `beware` tells what the
    path of its ray warns of, worked out when asked.
    """

    label: str
    kind: str
    terms: dict[Unknown, float]
    value: float
    parts: tuple[Contribution, ...]
    reading: Reading | None = None
    scatter: float = 0.0
    beware: Callable[[], Sequence[str]] = tuple

    @functools.cached_property
    def u(self) -> float:
        """Standard uncertainty [unit of the row]."""
        return combine(self.parts)


@dataclass(frozen=True)
class Expansion:
    """Where what is not linear is linearised, by name.

    `curvature` of the water [1/m], `collimation` [rad], `refraction` far from
    the water [1/m], `air` the state of those with a profile, heights of the `axis` [m];
    `path` the curvature [1/m] of the water under the rays, where it is not that
    which is found.
    """

    curvature: float
    collimation: dict[str, float] = field(default_factory=dict)
    refraction: dict[str, float] = field(default_factory=dict)
    air: dict[str, State] = field(default_factory=dict)
    axis: dict[str, float] = field(default_factory=dict)
    path: float | None = None


def keys(rows_: Iterable[Row]) -> list[Unknown]:
    """The unknowns of some rows, curvature first."""
    return list(dict.fromkeys([CURVATURE, *(key for row in rows_ for key in row.terms)]))
