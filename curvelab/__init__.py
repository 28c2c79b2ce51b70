"""Does calm water curve with the Earth? Plan, reduce and judge a level sight across a lake.

>>> import curvelab
>>> book = curvelab.read_fieldbook("data/two_kilometres")
>>> curvelab.decide(curvelab.adjust(book)).outcome
'flat rejected'
"""

from __future__ import annotations

import importlib
from typing import Any

__version__ = "0.1.0"

_NAMES = {
    "read_fieldbook": "fieldbook", "write_fieldbook": "fieldbook", "FieldBookError": "records",
    "new_fieldbook": "starter", "check_fieldbook": "starter",
    "adjust": "adjustment", "decide": "decision", "plan": "planning", "simulate": "simulation",
}
_ROOMS = ("numbers", "quantities", "units", "ellipsoid", "refraction", "instrument", "field_test", "water", "lake", "profile", "ray", "air", "uncertainty", "gum", "montecarlo", "schema", "records", "resolve", "sense",
          "parsing", "fieldbook", "suspicion", "privacy", "sealing", "designs", "rows", "priors", "observation", "leastsquares", "determinacy", "adjustment", "starter", "prediction", "diagnosis", "wording", "remarks", "decision", "sceptic", "planning", "actions", "maps", "simulation", "drawing", "figures", "stamps", "controls", "page", "triptych", "panels", "rays_page", "sceptic_page", "photo",
          "photo_page", "pages", "paper", "publishing", "exercises", "mystery")
__all__ = ["__version__", *_NAMES, *_ROOMS]


def __getattr__(name: str) -> Any:
    """Load a room, or a name from its room, when it is first used."""
    if name in _ROOMS:
        return importlib.import_module(f".{name}", __name__)
    if name in _NAMES:
        return getattr(importlib.import_module(f".{_NAMES[name]}", __name__), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
