"""What a reader of the verdict must know beside it."""

from __future__ import annotations

import math
from dataclasses import replace

from . import air
from .adjustment import UNCHECKED, Result, longest
from .diagnosis import GROSS, gross_repeats, lone_repeats, slip
from .refraction import REFERENCE_RADIUS
from .resolve import AXIS, LONG, components
from .sealing import departures
from .suspicion import suspicions
from .wording import offset

APART = "one repeat stands apart"
TELLING = 1.2  # times u(κ); a growth that is worth a remark (a judgement)


def remarks(result: Result, over_flat: Result, struck: str) -> tuple[str, ...]:
    """What a reader of the verdict must know beside it, a phrase each.

    Parameters
    ----------
    result, over_flat : Result
        As found, and with the rays followed over flat water.
    struck : str
        What taking back the struck rows would change.
    """
    told = []
    if not result.book.rule.stated:
        told.append("default rule, not fixed beforehand")
    if not result.book.water.surfaces:
        told.append("no reading or height touches the water, so this is the curvature of level lines, not of the water")
    if result.book.sealed_plan and not result.book.sealed:
        told.append("a sealed plan lies in the folder, and site.toml does not name its seal")
    if result.book.sealed:
        kept = departures(result.book)
        told.append("departures from the sealed plan: " + "; ".join(kept) if kept else "the sealed plan was kept to")
    if result.book.blind.hidden:
        told.append(f"the blind offset of {result.book.blind.point} is not revealed yet: until then the target stands where nobody knows, and this verdict means nothing")
    told += _air_remarks(result, over_flat) + shared_air(result)
    told += _idle_sights(result) + [f"looks like a slip: {text}" for text in suspicions(result.book)]
    for row in gross_repeats(result):
        told.append(f"the repeats in {row.label} scatter more than {GROSS:.0f} times what was stated")
    told += [f"{APART}, {label}: {offset(abs(by), 'metric')} from the others, {abs(by) / u:.1f} times what is stated for one"
             f"{f' ({near})' if (near := slip(by, u)) else ''}; perhaps misread" for label, by, u in lone_repeats(result)]
    if result.unchecked:
        told.append("nothing checks " + "; ".join(result.unchecked))
    weak = [f"{label} (a blunder of {offset(blunder, 'metric')} would pass)" for label, blunder in result.weak if label not in result.unchecked]
    if weak:
        told.append("hardly anything checks " + "; ".join(weak))
    copies = [h.row for i, h in enumerate(result.book.heights) if any(replace(h, row=0) == replace(o, row=0) for o in result.book.heights[:i])]
    if copies:
        told.append(f"a copy is no check: heights.csv row {', '.join(map(str, copies))} says word for word what an earlier one says")
    idle = [f"[{section}.{name}]" for section, names in (("scale", result.book.scales), ("staff", result.book.staffs)) for name in names
            if name not in {getattr(r, section) for r in result.book.readings}]
    if idle:
        told.append(f"no row names {', '.join(idle)}")
    rows = [str(r.row) for r in result.book.readings if r.struck]
    if rows:
        told.append(f"struck: readings.csv row {', '.join(rows)}; {struck}")
    if result.book.invented:
        told.append("invented data")
    return tuple(told)


def shared_air(result: Result) -> list[str]:
    """What becomes of the separation if one mistake runs through all airs whose k is stated: the network takes them as independent."""
    names = {("refraction", r.air) for r in result.book.readings if r.distance > LONG and not r.struck}
    pulls = [s * row.u for row, s in zip(result.rows, result.sensitivity) if row.kind == "prior" and names & {*row.terms} and not result.by_profile]
    u = max(result.curvature.u, result.planned_u)  # as the separation takes it
    together = math.sqrt(max(u**2 + sum(pulls) ** 2 - sum(pull**2 for pull in pulls), 0.0))
    if together <= TELLING * u:
        return []
    return [f"the k of {len(pulls)} airs are taken to be wrong independently: if one mistake runs through them all, flat water and the ellipsoid lie "
            f"{result.ellipsoid_curvature / together:.2f} typical errors apart, not {result.ellipsoid_curvature / u:.2f}"]


def _idle_sights(result: Result) -> list[str]:
    """Sights that say nothing: set-ups with one point read, balanced pegs, and no sight across the water."""
    read: dict[str, dict[str, float]] = {}
    for row in result.rows:
        if row.reading:
            read.setdefault(row.reading.setup, {})[row.reading.point] = row.reading.distance
    tied = {end for h in result.book.heights for end in (h.start, h.end)}
    single = [setup for setup, points in read.items() if len(points) == 1 and AXIS + setup not in tied]
    found = [f"only one point is read from set-up {', '.join(single)}, which so counts for nothing"] if single else []
    part = components(result.book)
    land = {setup: points for setup, points in read.items() if part[AXIS + setup] != part.get("") and setup not in single}
    if land and all(max(points.values()) - min(points.values()) < 1 for points in land.values()):
        found.append(f"the pegs are read at equal distances from {', '.join(land)}, which says nothing about the level: read them from close to one peg too")
    if longest(result).reading.distance <= result.book.line.distance.value / 2:
        found.append("no sight across the water is among the readings")
    return found


def _air_remarks(result: Result, over_flat: Result) -> list[str]:
    """What the air of the longest sight rests on, and what its path would meet over flat water."""
    name = longest(result).reading.air
    at = next(i for i, row in enumerate(result.rows) if row.kind == "prior" and ("refraction", name) in row.terms)
    stated = result.rows[at]
    if not air.by_profile(result.book.airs[name]):
        told = f"k = {stated.value * REFERENCE_RADIUS:.2f} ± {stated.u * REFERENCE_RADIUS:.2f}"
        weak = result.solution.redundancy[at] < UNCHECKED
        return [f"this rests on the air over the lake being as stated, {told}, which no reading tests"] if weak else []
    thermometers = {t.thermometer for t in result.book.air_readings if t.air == name}
    source = {0: "the stated difference of air and water, no thermometer", 1: "one thermometer alone"}.get(len(thermometers), "the thermometers")
    shape = "shaped by the stated wind" if result.book.airs[name].wind else "assumed for a calm lake, since no wind is stated"
    bent = f" by k = {result.effective_k:.2f}," if result.settled else ""
    told = [f"the air over the lake bends the longest sight{bent} by {source} and a profile {shape}"]
    met = [text for text in over_flat.warnings if "meets the water" in text]
    return told + [text.rstrip(".") for text in result.warnings[:1]] + [f"over flat water: {text[0].lower()}{text[1:].rstrip('.')}" for text in met[:1]]
