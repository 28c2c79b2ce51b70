"""What a field book may hold: files, columns, keys, their dimensions and defaults.

Data, no code: `fieldbook` reads by it and ``data/README.md`` explains it.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Column:
    """One column of a table: a dimension known to `units`, or ``"text"`` or ``"time"``."""

    dimension: str
    required: bool = False


def _columns(required: dict[str, str], optional: dict[str, str]) -> dict[str, Column]:
    return {name: Column(kind, name in required) for name, kind in (required | optional).items()}


TABLES: dict[str, dict[str, Column]] = {
    "readings.csv": _columns(
        {"setup": "text", "point": "text", "distance": "length", "reading": "length"},
        {"instrument": "text", "staff": "text", "air": "text", "visit": "text", "scale": "text",
         "u": "length", "u_distance": "length", "upper": "length", "lower": "length",
         "time": "time", "observer": "text", "photo": "text", "status": "text", "remark": "text"},
    ),
    "heights.csv": _columns(
        {"from": "text", "to": "text", "height": "length"},
        {"u": "length", "tape": "text", "visit": "text", "time": "time", "remark": "text"},
    ),
    "gauge.csv": _columns(
        {"time": "time", "water_level": "length"},
        {"gauge": "text", "u": "length"},
    ),
    "air.csv": _columns(
        {"height": "length", "temperature": "temperature"},
        {"air": "text", "time": "time", "thermometer": "text", "u": "temperature difference",
         "humidity": "ratio", "position": "length"},
    ),
    "points.csv": _columns(
        {"point": "text", "kind": "text"},
        {"position": "length", "shore": "text", "remark": "text"},
    ),
}

# The cells whose absence is a statement of its own (a blank reading is a planned one).
MAY_BE_BLANK = {("readings.csv", "reading")}

NOT_NEGATIVE = ("distance", "u", "u_distance", "humidity")

# What makes two readings repeats of one another: everything but these.
REPEATS_DIFFER_IN = ("reading", "time", "observer", "photo", "remark")

POINT_KINDS = ("water", "mark", "target")
SHORES = ("near", "far")


@dataclass(frozen=True)
class Key:
    """One key of ``site.toml``.

    Parameters
    ----------
    kind : str
        A dimension known to `units` (the value is a string with its unit), or
        ``"text"``, ``"bool"``, ``"float"``, ``"coordinate"``, ``"names"``.
    spread : str
        ``"±"``: value ± one standard uncertainty, both needed. ``"maybe"``: the
        ± may be left out. ``"none"``: one number (for most keys that number is
        itself a standard uncertainty).
    """

    kind: str
    spread: str = "none"


SECTIONS: dict[str, dict[str, Key]] = {
    "": {"format": Key("float"), "title": Key("text"), "invented": Key("bool"), "private": Key("bool")},
    "line": {"from": Key("coordinate"), "to": Key("coordinate"), "latitude": Key("float"),
             "azimuth": Key("float"), "distance": Key("length", "±")},
    "instrument": {"same_as": Key("text"), "tolerance": Key("angle"), "collimation": Key("angle", "±"),
                   "setting_accuracy": Key("angle"), "focus_runout": Key("angle"), "drift": Key("angle"),
                   "magnification": Key("float"), "pointing": Key("angle"), "reading": Key("length")},
    "air": {"temperature": Key("temperature", "maybe"), "pressure": Key("pressure", "maybe"),
            "gradient": Key("temperature gradient", "±"), "k": Key("number", "±"),
            "water_temperature": Key("temperature", "maybe"), "wind": Key("speed", "maybe"),
            "air_minus_water": Key("temperature difference", "±")},
    "thermometer": {"offset": Key("temperature difference", "±")},
    "water": {"surfaces": Key("names"), "touch": Key("length"), "touch_common": Key("length"),
              "between_shores": Key("length", "±")},
    "tape": {"scale": Key("ratio", "±")},
    "scale": {"error": Key("ratio", "±")},
    "staff": {"zero": Key("length", "±")},
    "rule": {"alpha_flat": Key("float"), "alpha_ellipsoid": Key("float"), "power": Key("float"),
             "geoid": Key("ratio")},
    "plan": {"sealed": Key("text"), "blind": Key("text"), "blind_point": Key("text"), "blind_offset": Key("text"), "blind_salt": Key("text")},
}

# Sections with one table per name ([instrument.A]); the others stand alone.
NAMED = ("instrument", "air", "thermometer", "tape", "scale", "staff")

# Keys that allow a number to be negative; every other one-number key must be >= 0.
SIGNED = {("line", "latitude"), ("line", "azimuth"), ("air", "temperature"), ("air", "water_temperature")}

# Documented defaults, in the words of a field book; each is a budget row marked "default".
DEFAULTS: dict[str, dict[str, object]] = {
    "instrument": {"magnification": 24, "reading": "0.5 mm", "setting_accuracy": "1 arcsec",
                   "focus_runout": "6 µrad", "drift": "0 µrad"},
    "water": {"touch": "3 mm", "touch_common": "1 mm"},
    "tape": {"scale": "0 ± 0.1 mm/m"},
    "scale": {"error": "0 ± 5 mm/m"},
    "staff": {"zero": "0 ± 0.5 mm"},
    "thermometer": {"offset": "0 ± 0.3 K"},
    "rule": {"alpha_flat": 0.01, "alpha_ellipsoid": 0.01, "power": 0.90, "geoid": "0.3 %"},
}
DEFAULT_HEIGHT_U = "1 mm"
DEFAULT_GAUGE_U = "1 mm"
DEFAULT_SHORES_PER_METRE = 1e-6
DEFAULT_THERMOMETER_U = "0.1 K"
DEFAULT_WATER_TEMPERATURE_U = "0.3 K"
DEFAULT_AIR_MINUS_WATER = "0 ± 3 K"
DEFAULT_PEG_AIR = "0.13 ± 1"
