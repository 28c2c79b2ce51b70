"""How often the tool is right, over simulated lakes of every design: python tests/calibration_report.py [--quick]

Under conditions that keep to what a book states, and under some that don't, campaigns are drawn, reduced and decided as
a user's would be. Printed in Markdown: rates in per cent with their binomial 95 % bounds (Clopper–Pearson), and in
**bold** the ones whose bounds exclude what is promised; one in forty does so by chance. Six minutes of one core.
"""

from __future__ import annotations

import dataclasses
import functools
import os
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from unittest import mock

for _name in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(_name, "1")  # before numpy is there: one core

import numpy as np
from scipy import stats

import curvelab
from curvelab import air, designs, profile, refraction
from curvelab.decision import Verdict, critical
from curvelab.designs import LONG, Facts
from curvelab.fieldbook import compose
from curvelab.planning import Plan
from curvelab.records import FieldBook
from curvelab.refraction import REFERENCE_RADIUS
from curvelab.simulation import campaigns, simulate
from curvelab.uncertainty import COVERAGE

SEED, ALPHA = 20_000, 0.01  # the first seed; the rates of error of every design's rule
SLIP, OFF_K, SHARED = 0.1, 0.3, 0.5  # m of a blunder; in k; K that all thermometers are wrong by
STATED, PROFILED, LINEAR = 36, 14, 40_000  # lakes of each design and truth: air as stated, air by a profile, by sensitivities alone
TRUTHS = {"flat": 0.0, "ellipsoid": 1.0}  # κ in units of 1/R
COLUMNS = ("lakes", "truth rejected by its test", "by the verdict", "covered", "too uncertain", "disagree", "right", "power")
Lake = Callable[[Plan, float, int], FieldBook]  # plan, true κ [1/m] and seed to a book with readings
Shaped = tuple[profile.Shape, float]  # of an air, and its strength [K]


class Tails(np.random.Generator):
    """A generator whose normal errors are drawn from another law of variance 1; `simulate` takes one in place of its seed."""

    def __init__(self, draw: Callable[[np.random.Generator], float], seed: int) -> None:
        super().__init__(np.random.PCG64(seed))
        self.draw = draw

    def standard_normal(self, *_: object) -> float:
        """Not normal at all."""
        return self.draw(self)


def as_stated(plan: Plan, kappa: float, seed: int, truth: Mapping[str, float] | None = None) -> FieldBook:
    """Every error drawn as the book states it, but for what is given as true."""
    return simulate(plan, curvature=kappa, seed=seed, truth=truth)


def tails(draw: Callable[[np.random.Generator], float]) -> Lake:
    """Everything that is normal drawn otherwise, also what is true of the level and of the air."""
    return lambda plan, kappa, seed: simulate(plan, curvature=kappa, seed=Tails(draw, seed))


def blunder(name: str, column: str) -> Lake:
    """A slip of 0.1 m in one cell: of any height, or of any reading over more than 100 m."""
    def lake(plan: Plan, kappa: float, seed: int) -> FieldBook:
        book, rng = as_stated(plan, kappa, seed), np.random.default_rng((seed, 1))
        table = book.tables[name]
        cells = [float(row[table.columns.index(column)]) for row in table.rows]
        cells[rng.choice([i for i in range(len(cells)) if name != "readings.csv" or book.readings[i].distance > LONG])] += SLIP * rng.choice((-1, 1))
        return compose(book.site, book.tables | {name: table.filled(column, [repr(float(cell)) for cell in cells])})
    return lake


def off_k(plan: Plan, kappa: float, seed: int) -> FieldBook:
    """The k of every air of a long sight 0.3 more, or by turns 0.3 less, than stated."""
    airs = {r.air: plan.book.airs[r.air] for r in plan.book.readings if r.distance > LONG}
    return as_stated(plan, kappa, seed, {f"refraction.{name}": air.stated(a).value + OFF_K * (-1) ** seed / REFERENCE_RADIUS for name, a in airs.items()})


def warm_thermometers(plan: Plan, kappa: float, seed: int) -> FieldBook:
    """All thermometers show 0.5 K too much, or by turns too little."""
    return as_stated(plan, kappa, seed, {f"thermometer.{t.thermometer}": SHARED * (-1) ** seed for t in plan.book.air_readings})


def windy(wind: float) -> Callable[[float], Shaped]:
    """Monin–Obukhov air by a difference of air and water [K]."""
    return lambda difference: profile.mixed(difference, air.REFERENCE_HEIGHT, wind, 12.0, refraction.DRY_ADIABATIC)


def by_power(difference: float, exponent: float = -1 / 3) -> Shaped:
    """The same by Kukkamäki's power law, with the logarithm's slope at 1 m, and its rise up to 10 m by a foot of its own."""
    strength = air.neutral_strength(difference)
    foot = (air.REFERENCE_HEIGHT**exponent - exponent * float(profile.logarithmic().rise(air.REFERENCE_HEIGHT))) ** (1 / exponent)
    return profile.power(exponent, foot), strength


def shaped(by: Callable[[float], Shaped]) -> Lake:
    """Air of another shape than the logarithm that the network takes; its difference from the water is drawn as stated."""
    def lake(plan: Plan, kappa: float, seed: int) -> FieldBook:
        rng, neutral = np.random.default_rng((seed, 2)), air.layer
        known = {name: mass.air_minus_water for name, mass in plan.book.airs.items() if mass.air_minus_water}
        true = {name: by(told.value + told.u * rng.standard_normal()) for name, told in known.items()}
        truth = {f"strength.{name}": strength for name, (_, strength) in true.items()} | {f"stability.{name}": 0.0 for name in true}
        with mock.patch.object(air, "layer", lambda mass: dataclasses.replace(neutral(mass), shape=true[mass.name][0])):
            return as_stated(plan, kappa, seed, truth)
    return lake


GUESSED = Facts(2000.0, height=3.0, weather={"air_minus_water": "1 ± 1 K", "water_temperature": "11 ± 0.3 °C"})
BOOKS = {"gradient": Facts(2000.0), "gradient, one pointing": Facts(2000.0, pointings=1), "k": Facts(2000.0, k="0.13 ± 0.1"),
         "difference": GUESSED, "thermometers": dataclasses.replace(GUESSED, thermometers=(0.5, 1.5, 4.0))}  # by what is known of the air
CONDITIONS: tuple[tuple[str, str, Lake], ...] = (
    ("gradient", "as stated", as_stated),
    ("gradient", "t, 3 degrees of freedom", tails(lambda rng: float(rng.standard_t(3)) / 3**0.5)),
    ("gradient", "rectangular", tails(lambda rng: float(rng.uniform(-(3**0.5), 3**0.5)))),
    ("gradient", "one of 5 pointings 0.1 m wrong", blunder("readings.csv", "reading")),
    ("gradient, one pointing", "a pointing 0.1 m wrong", blunder("readings.csv", "reading")),
    ("gradient", "a height 0.1 m wrong", blunder("heights.csv", "height")),
    ("gradient", "k ± 0.19 is 0.3 off", off_k),
    ("k", "k ± 0.10 is 0.3 off", off_k),
    ("difference", "as stated", as_stated),
    ("thermometers", "as stated", as_stated),
    ("thermometers", "all 0.5 K wrong", warm_thermometers),
    *(("thermometers", f"Monin–Obukhov, {wind} m/s", shaped(windy(wind))) for wind in (2, 3, 4)),
    ("thermometers", "power law -1/3", shaped(by_power)))


@functools.cache
def planned(design: str, known: str) -> Plan:
    """The plan of a design, made once; each set of a series has an air of its own, by a gradient or k where the book states one."""
    facts = BOOKS[known]
    stated = design == "series through a day" and "air_minus_water" not in facts.weather
    return curvelab.plan(designs.series(facts, [facts.air] * len(designs.THROUGH_THE_DAY)) if stated else designs.DESIGNS[design](facts))


def tally(verdict: Verdict, true: str) -> tuple[bool, ...]:
    """Of one campaign: truth rejected by its own test, and by the verdict; covered; too uncertain; disagree; right."""
    p = max((verdict.p_flat, verdict.worst_flat) if true == "flat" else (verdict.p_ellipsoid, verdict.worst_ellipsoid))
    found, rival = verdict.result.curvature, "ellipsoid" if true == "flat" else "flat"
    off = found.value - TRUTHS[true] * verdict.result.ellipsoid_curvature
    return (p < ALPHA, verdict.outcome in (f"{true} rejected", "both rejected"), abs(off) < COVERAGE * found.u,
            verdict.outcome == "too uncertain to decide", verdict.outcome == "readings disagree", verdict.outcome == f"{rival} rejected")


def drawn(plan: Plan, lake: Lake, true: str, seeds: Iterable[int]) -> np.ndarray:
    """What became of the campaigns of one plan (lakes, 6)."""
    kappa = TRUTHS[true] * plan.result.ellipsoid_curvature
    return np.array([tally(curvelab.decide(curvelab.adjust(lake(plan, kappa, seed))), true) for seed in seeds])


def said(hits: int, of: int, least: float, most: float) -> str:
    """A rate in per cent with its bounds."""
    low, high = stats.binomtest(hits, of).proportion_ci()
    text = f"{100 * hits / of:.1f} [{100 * low:.1f}, {100 * high:.1f}]"
    return f"**{text}**" if low > most or high < least else text


def rates(found: np.ndarray, power: float) -> list[str]:
    """Cells of a row: how many lakes, the six rates, the power that was planned, 0 for a plan below its gate whose air won't change that."""
    limits = [(0.0, ALPHA), (0.0, ALPHA), (0.95, 1.0), (0.0, 1.0), (0.0, 1.0), (power, 1.0)]
    return [str(len(found)), *(said(int(hits), len(found), *limit) for hits, limit in zip(found.sum(0), limits)), f"{100 * power:.1f}"]


def by_design(quick: bool, pooled: list[list[str]]) -> Iterator[list[str]]:
    """Rows of every condition, truth and design; those of all designs together are left in `pooled`."""
    for known, name, lake in CONDITIONS:
        plans = {design: planned(design, known) for design in designs.DESIGNS}
        powers = [plan.power if plan.go or plan.result.by_profile else 0.0 for plan in plans.values()]
        lakes = (PROFILED if "air_minus_water" in BOOKS[known].weather else STATED) // (5 if quick else 1)
        for seed, true in zip((SEED, SEED + lakes * len(plans)), TRUTHS):
            found = [drawn(plan, lake, true, range(seed + lakes * i, seed + lakes * (i + 1))) for i, plan in enumerate(plans.values())]
            yield from ([known, name, true, design, *rates(*one)] for design, *one in zip(plans, found, powers))
            pooled.append([known, name, true, *rates(np.concatenate(found), float(np.mean(powers)))])


def by_sensitivities(quick: bool) -> Iterator[list[str]]:
    """Rows of a great many campaigns of each design, by the sensitivities of its plan: truth rejected and covered, under three laws."""
    for known, design in ((known, design) for known in ("gradient", "thermometers") for design in designs.DESIGNS):
        plan, cells = planned(design, known), [known, design]
        least = critical(plan.result.contributions(), ALPHA)
        for law in ({}, {"tails": 3.0}, {"blunders": 0.01}):
            off = np.abs(campaigns(plan, 0.0, LINEAR // (5 if quick else 1), SEED, **law))
            cells += [f"{100 * np.mean(off > least):.2f}", f"{100 * np.mean(off < COVERAGE * plan.result.planned_u):.2f}"]
        yield cells


def table(title: str, head: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """A Markdown table; each row is printed as soon as it is known."""
    print(f"\n## {title}\n\n| {' | '.join(head)} |\n|{' --- |' * len(head)}")
    for cells in rows:
        print(f"| {' | '.join(cells)} |", flush=True)


if __name__ == "__main__":
    hasty, together, began = "--quick" in sys.argv[1:], [], time.process_time()
    kinds = [f"{law}, {what}" for law in ("as stated", "t with 3", "1 % blunders of ten u") for what in ("rejected", "covered")]
    table("Each design", ("air by", "truth", "water", "design", *COLUMNS), by_design(hasty, together))
    table("All designs together", ("air by", "truth", "water", *COLUMNS), together)
    table("By sensitivities alone", ("air by", "design", *kinds), by_sensitivities(hasty))
    print(f"\nnumpy {np.__version__}, seeds from {SEED}, {time.process_time() - began:.0f} s of one core")
