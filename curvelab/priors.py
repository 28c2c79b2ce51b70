"""What is known of each unknown before any reading: as the book states it, or by a documented default."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import replace

from . import air, schema, units
from .instrument import rectangular_u
from .records import Air, FieldBook, Stated
from .rows import STABILITY, Expansion, Row, Unknown
from .uncertainty import NORMAL, RECTANGULAR, Contribution


def prior(book: FieldBook, key: Unknown, at: Expansion | None = None) -> Row | None:
    """What is known of an unknown before any reading; None for a free one."""
    kind, name = key[0], key[1] if len(key) > 1 else ""
    if kind in ("curvature", "axis", "height", "water level"):
        return None
    if kind == "stability":
        state = at.air.get(name, air.State()) if at else air.State()
        stated, slope, common = air.stability_prior(book.airs[name], state)
        row = _prior(key, "stability of the air", f"air {name}", stated)
        return replace(row, terms=row.terms | {("strength", name): -slope, STABILITY: -common}, value=stated.value - slope * state.strength)
    if kind == "water temperature" and not book.airs[name].water_temperature:
        return None
    if kind == "collimation" and (limit := book.instruments[name].tolerance):
        return _prior(key, "collimation", f"instrument {name}", Stated(0.0, float(rectangular_u(limit.value))), RECTANGULAR)
    table: dict[str, Callable[[], tuple[str, str, Stated]]] = {
        "collimation": lambda: ("collimation", f"instrument {name}", book.instruments[name].collimation),
        "drift": lambda: ("drift of the collimation", "each visit", _spread(book.instruments[name].drift)),
        "setting": lambda: ("compensator setting", "each set-up", _spread(_setting(book, name))),
        "focus": lambda: ("focus run-out", f"instrument {name}", _spread(book.instruments[name].focus_runout)),
        "refraction": lambda: ("refraction", f"air {name}", _far(book.airs[name])),
        "strength": lambda: ("refraction", f"air {name}", air.strength_prior(book.airs[name], book.airs[name].air_minus_water
                                                                            or _parsed(schema.DEFAULT_AIR_MINUS_WATER, "temperature difference"))),
        "stability model": lambda: ("stability of the air", "all airs", Stated(0.0, 1.0, True)),
        "vapour": lambda: ("humidity", f"air {name}", air.vapour_prior(book.airs[name])),
        "hygrometer": lambda: ("hygrometer", f"thermometer {name}".strip(), Stated(0.0, air.HYGROMETER_U, True)),
        "departure": lambda: ("refraction off the profile", "each line height" if len(key) > 2 else f"air {name}", Stated(0.0, air.KNOT_U if len(key) > 2 else air.DEPARTURE, True)),
        "water temperature": lambda: ("water temperature", f"air {name}", _water_temperature(book.airs[name].water_temperature)),
        "thermometer": lambda: ("thermometer offset", f"thermometer {name}".strip(), book.thermometers.get(name) or _default("thermometer", "offset")),
        "touch": lambda: ("touch of the water", "each contact", _spread(book.water.touch)),
        "touch_common": lambda: ("touch of the water", "all contacts", _spread(book.water.touch_common)),
        "shores": lambda: ("water between the shores", "each visit", book.water.between_shores),
        "tape": lambda: ("tape scale", f"tape {name}".strip(), book.tapes.get(name) or _default("tape", "scale")),
        "scale": lambda: ("target scale", f"scale {name}", book.scales.get(name) or _default("scale", "error")),
        "staff": lambda: ("staff zero", "each staff", book.staffs.get(name) or _default("staff", "zero")),
        "distance": lambda: ("length of sight", "all long sights", Stated(0.0, book.line.distance.u)),
        "gauge": lambda: ("gauge", "each gauge reading", _gauge(book, name)),
    }
    row = _prior(key, *table[kind]())
    return replace(row, label=f"gauge.csv row {name}") if kind == "gauge" else row


def _prior(key: Unknown, cause: str, common_to: str, stated: Stated, distribution: str = NORMAL) -> Row:
    part = Contribution(cause, common_to, stated.u, distribution, remark=remark(stated))
    return Row(f"{cause}, {' '.join(key[1:]) or common_to}", "prior", {key: 1.0}, stated.value, (part,))


def remark(stated: Stated) -> str:
    """What a budget row says of where a value comes from."""
    return "default" if stated.default else ""


def _spread(stated: Stated) -> Stated:
    """A key whose one number is itself a standard uncertainty, as 0 ± that number."""
    return Stated(0.0, stated.value, stated.default)


def _setting(book: FieldBook, setup: str) -> Stated:
    return next(book.instruments[r.instrument].setting_accuracy for r in book.readings if r.setup == setup and not r.struck)


def _far(mass: Air) -> Stated:
    return air.layer(mass).far if air.by_profile(mass) else air.stated(mass)


def _water_temperature(told: Stated) -> Stated:
    own = _parsed(schema.DEFAULT_WATER_TEMPERATURE_U, "temperature difference").value
    return told if told.u is not None else Stated(told.value, own, True)


def _gauge(book: FieldBook, row: str) -> Stated:
    gauge = next(g for g in book.gauge if str(g.row) == row)
    own = units.parse(schema.DEFAULT_GAUGE_U, "length").value if gauge.u is None else gauge.u
    return Stated(gauge.water_level, own, gauge.u is None)


@functools.cache
def _default(section: str, key: str) -> Stated:
    return _parsed(str(schema.DEFAULTS[section][key]), schema.SECTIONS[section][key].kind)


@functools.cache
def _parsed(text: str, dimension: str) -> Stated:
    quantity = units.parse(text, dimension)
    return Stated(quantity.value, quantity.u, True)
