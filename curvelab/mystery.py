"""A mystery lake: plan within a budget, seal, buy readings, decide by the rule, and only then see what the water was.

``lake = Lake("7B", "herons")``, then ``lake.consider(...)`` as often as you like, ``lake.seal(...)`` once, ``lake.measure()``,
``lake.decide()``, ``lake.reveal()``; for the class ``gather(lakes)``, or ``play`` from what each group chose.
A group's lake always answers with a text; nothing raises. Lakes and prices are invented.
"""

from __future__ import annotations

import datetime
import hashlib
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from . import designs
from .adjustment import adjust
from .decision import Verdict, decide
from .fieldbook import compose
from .planning import Plan, plan
from .records import FieldBook
from .sealing import digest, plan_text
from .simulation import simulate

HOURS, EUROS = 8, 250  # what a group may spend
SURFACES = {"flat": 0.0, "as curved as the Earth": None, "a planet of radius 3000 km": 1 / 3e6}  # curvature [1/m]; None: the ellipsoid's
RIGHT = dict(zip(SURFACES, ("ellipsoid rejected", "flat rejected", "both rejected")))
WRONG = dict(zip(SURFACES, (("flat rejected", "both rejected"), ("ellipsoid rejected", "both rejected"), ())))
JUDGED = ("right", "no decision", "missed", "wrong")
FACTS = designs.Facts(1500.0, height=2.0, tolerance="2 mm per 30 m", gradient="-0.01 ± 0.04 K/m")


@dataclass(frozen=True)
class Offer:
    """Something on the price list: hours, euros, the `facts` that it changes, and what it adds to the plan."""

    hours: float
    euros: float
    facts: Mapping[str, object] = field(default_factory=dict)
    adds: Callable[[FieldBook], FieldBook] | None = None


DESIGNS = {  # choose one
    "single sight": Offer(2, 0), "two targets": Offer(4, 90), "reciprocal sights": Offer(4, 120), "balanced control": Offer(4, 60)}
DISTANCES = {  # choose one [m]
    800: Offer(0, 0, {"distance": 800.0}), 1500: Offer(0.5, 20, {"distance": 1500.0}), 2500: Offer(1, 60, {"distance": 2500.0})}
EXTRAS = {  # as many as the budget allows
    "short peg test": Offer(1, 0, adds=lambda book: designs.with_peg_test(book, 2)),
    "long peg test": Offer(3, 0, adds=lambda book: designs.with_peg_test(book, 8)),
    "precise level": Offer(0, 130, {"tolerance": "0.6 mm per 30 m"}),
    "measured air": Offer(1.5, 80, {"gradient": "-0.01 ± 0.015 K/m"}),
    "twenty pointings": Offer(1, 0, {"pointings": 20})}


@dataclass(frozen=True)
class Choice:
    """What a group may buy: its name, hours, euros, and the plan that it makes."""

    name: str
    hours: float
    euros: float
    plan: Plan = field(repr=False)

    @property
    def affordable(self) -> bool:
        """Whether it keeps within the budget."""
        return self.hours <= HOURS and self.euros <= EUROS

    def describe(self) -> str:
        """Its price, and what it could decide."""
        over = "" if self.affordable else "\nThat is more than you have: leave something out."
        return f"{self.hours:g} h of {HOURS}, {self.euros:g} € of {EUROS}\n{self.plan.describe()}{over}"


class Lake:
    """One group's lake, its own in the class; before `reveal` no attribute and no text says what its water is.

    Parameters
    ----------
    class_code, group : object
        Any text; the same two give the same lake and the same readings. Capitals and spaces don't count.

    >>> lake = Lake("7B", "herons")
    >>> lake.seal("two targets", 1500, "short peg test").splitlines()[0]
    '5.5 h of 8, 110 € of 250'
    >>> lake
    Lake('7B', 'herons'): sealed
    """

    def __init__(self, class_code: object, group: object) -> None:
        """Start with the whole budget."""
        self.class_code, self.group = str(class_code), str(group)
        self.choice: Choice | None = None
        self.sealed = ""  # the text that was sealed
        self.book: FieldBook | None = None
        self.verdict: Verdict | None = None
        self.revealed = False

    def __repr__(self) -> str:
        """Who, and the last thing done."""
        steps = {"revealed": self.revealed, "decided": self.verdict, "measured": self.book, "sealed": self.sealed, "not planned yet": True}
        return f"Lake({self.class_code!r}, {self.group!r}): {next(name for name, done in steps.items() if done)}"

    def consider(self, design: object = None, distance: object = None, *extras: object) -> str:
        """What a choice costs and what it could decide; nothing is fixed, nothing is spent."""
        try:
            return choose(design, distance, *extras).describe()
        except ValueError as error:
            return f"{error}."

    def seal(self, design: object = None, distance: object = None, *extras: object, time: datetime.datetime | None = None) -> str:
        """Fix a choice, once, with both predictions and the rule; its SHA-256 is there to be shown to the class."""
        if self.choice:
            return f"Sealed already: {self.choice.name}. A plan that is changed afterwards proves nothing."
        try:
            choice = choose(design, distance, *extras)
        except ValueError as error:
            return f"{error}."
        if choice.affordable:
            self.choice = choice
            self.sealed = plan_text(choice.plan.book, choice.plan.predictions(), time or datetime.datetime.now().astimezone())
        return choice.describe() + (f"\nSealed: {digest(self.sealed)}" if self.sealed else "")

    def measure(self) -> str:
        """Buy the readings: one campaign, drawn once."""
        if not self.choice:
            return "Seal a plan first: readings that come before the rule prove nothing."
        if not self.book:
            book = simulate(self.choice.plan, curvature=_curvature(self), seed=_drawn(self, "readings"))
            self.book = compose(book.site | {"plan": {"sealed": digest(self.sealed)}}, book.tables, self.sealed)
        return f"{len(self.book.readings)} readings and {len(self.book.heights)} heights are in lake.book."

    def decide(self) -> str:
        """The verdict by the sealed rule, whatever it is."""
        if not self.book:
            return "Measure first."
        self.verdict = self.verdict or decide(adjust(self.book))
        return self.verdict.sentence

    def reveal(self) -> str:
        """What the water was, once the verdict stands."""
        if not self.verdict:
            return "Decide first: a verdict that comes after the answer proves nothing."
        self.revealed = True
        return f"The water was {_surface(self)}. Your verdict: {self.verdict.outcome}. So: {judged(self)}."


def prices() -> str:
    """The price list.

    >>> print(prices().splitlines()[2])
      two targets             4 h    90 €
    """
    lists = {"one design:": DESIGNS, "one distance:": {f"{distance} m": offer for distance, offer in DISTANCES.items()}, "any extras:": EXTRAS}
    return "\n".join(line for head, offers in lists.items()
                     for line in (head, *(f"  {name:20s} {offer.hours:4g} h {offer.euros:5g} €" for name, offer in offers.items())))


def choose(design: object, distance: object, *extras: object) -> Choice:
    """What these cost and could decide: a name of `DESIGNS`, a number of `DISTANCES`, any of `EXTRAS`, each once.

    >>> choose("single sight", 800, "short peg test")
    Choice(name='single sight, 800 m, short peg test', hours=3, euros=0)
    """
    if len(extras) > 1 and all(isinstance(name, str) and len(name) == 1 for name in extras):
        extras = ("".join(extras),)  # one extra whose comma was forgotten: ("measured air")
    design, distance = _listed(DESIGNS, "a design", design), _listed(DISTANCES, "a distance", distance)
    extras = tuple(_listed(EXTRAS, "an extra", name) for name in extras)
    if len(set(extras)) < len(extras):
        raise ValueError(f"An extra stands twice among {', '.join(extras)}: name each once")
    offers = [DESIGNS[design], DISTANCES[distance], *(EXTRAS[name] for name in extras)]
    facts = FACTS
    for offer in offers:
        facts = replace(facts, **offer.facts)
    book = designs.DESIGNS[design](facts)
    for offer in offers:
        book = offer.adds(book) if offer.adds else book
    name = ", ".join([design, f"{distance} m", *extras])
    return Choice(name, sum(offer.hours for offer in offers), sum(offer.euros for offer in offers), plan(book))


def judged(lake: Lake) -> str:
    """How a verdict stands to what the water was: one of `JUDGED`.

    "wrong": the truth itself was rejected, which the rule allows once in a hundred; "missed": one rival was rejected, and another
    that isn't true either was left standing; "no decision": too uncertain, undecided, or readings that disagree.
    """
    if not lake.verdict or not lake.revealed:
        raise ValueError(f"{lake!r} has not been revealed yet: let it measure, decide and reveal first")
    outcome, surface = lake.verdict.outcome, _surface(lake)
    if outcome == RIGHT[surface]:
        return "right"
    return "wrong" if outcome in WRONG[surface] else "missed" if outcome in RIGHT.values() else "no decision"


@dataclass(frozen=True)
class Gathered:
    """The lakes of a class that were revealed, and for each kind of water how many of them went which way."""

    lakes: tuple[Lake, ...]
    counts: Mapping[str, Mapping[str, int]]

    @property
    def table(self) -> str:
        """A line for each group: what it found in units of 1/1000 km, separation, verdict, water, and how it went."""
        wide = max([14, *(len(lake.group) for lake in self.lakes)])
        head = f"{'group':{wide}s} {'found':17s} {'sep.':>5s}  {'verdict':24s} {'the water was':27s} so"
        return "\n".join([head, *(_line(lake, wide) for lake in self.lakes)])

    @property
    def picture(self) -> str:
        """Bars of one # for each group, and the sums."""
        bars = [f"{surface:27s} {name:12s} {n:3d} {'#' * n}" for surface, row in self.counts.items() for name, n in row.items() if n]
        total = ", ".join(f"{name} {sum(row[name] for row in self.counts.values())}" for name in JUDGED)
        return "\n".join([*bars, f"of {len(self.lakes)} groups: {total}"])


def gather(lakes: Iterable[Lake]) -> Gathered:
    """The revealed lakes of a class together, with the error rates as they are; groups that have not come so far are left out.

    >>> gather([Lake("7B", "herons")]).picture
    'of 0 groups: right 0, no decision 0, missed 0, wrong 0'
    """
    ready = tuple(lake for lake in lakes if lake.revealed)
    told = [(_surface(lake), judged(lake)) for lake in ready]
    return Gathered(ready, {surface: {name: told.count((surface, name)) for name in JUDGED} for surface in SURFACES})


def play(class_code: object, choices: Mapping[str, tuple]) -> Gathered:
    """The campaigns of a class again, from what each group chose: by group the arguments of `choose`; what can't be bought is left out.

    >>> play("7B", {"herons": ("two targets", 2500, "precise level"), "grebes": ("single sight", 800)}).picture.splitlines()[-1]
    'of 1 groups: right 0, no decision 1, missed 0, wrong 0'
    """
    lakes = [Lake(class_code, group) for group in choices]
    for lake in lakes:
        lake.seal(*choices[lake.group])
        for step in (lake.measure, lake.decide, lake.reveal):
            step()
    return gather(lakes)


def _listed(known: Mapping[Any, Offer], what: str, name: object) -> Any:
    """What is meant, as it stands on the price list: capitals and spaces don't count, and a distance may have its unit."""
    meant = "".join((f"{name:g}" if isinstance(name, float) else str(name)).casefold().split()).removesuffix("m")
    found = {"".join(str(key).split()): key for key in known}.get(meant)
    if found is None:
        there = f"{name!r} is no {what.split()[1]} on the price list: c" if name is not None else "C"
        raise ValueError(f"{there}hoose {what}: {', '.join(map(str, known))}")
    return found


def _drawn(lake: Lake, what: str) -> int:
    """A number that belongs to a lake, from a hash, so that any computer draws the same."""
    who = [unicodedata.normalize("NFC", "".join(text.split()).casefold()) for text in (lake.class_code, lake.group)]
    return int.from_bytes(hashlib.sha256("\n".join([*who, what]).encode("utf-8", "surrogatepass")).digest()[:8])


def _surface(lake: Lake) -> str:
    """What the water of a lake is."""
    return list(SURFACES)[_drawn(lake, "surface") % len(SURFACES)]


def _curvature(lake: Lake) -> float:
    """The true curvature of a lake with a plan [1/m]."""
    truth = SURFACES[_surface(lake)]
    return lake.choice.plan.result.ellipsoid_curvature if truth is None else truth


def _line(lake: Lake, wide: int) -> str:
    """One group's line of the table, its name in so many letters."""
    kappa = lake.verdict.result.curvature
    return (f"{lake.group:{wide}s} {kappa.value * 1e6:+.3f} ± {kappa.u * 1e6:.3f}    {lake.verdict.separation:5.2f}  {lake.verdict.outcome:24s} "
            f"{_surface(lake):27s} {judged(lake)}")
