"""What a verdict says, in plain English, metric or US."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from . import units
from .diagnosis import Misfit, culprits, gross_repeats, misfits, odd_one_out, slip
from .instrument import in_words
from .uncertainty import COVERAGE

if TYPE_CHECKING:
    from .decision import Verdict

WORDS = {  # of the presenter's page, for somebody who has to say them aloud
    "typical error": "two of three measurements miss by less, 19 of 20 by less than twice as much (standard uncertainty)",
    "ellipsoid": "the Earth's smooth shape: its water bends away by 78 mm in the first kilometre or 8 inches in the first mile, by four times as much in two",
    "collimation error": "the slope that is left in the line of sight when the level says level; 50 µrad are 50 mm at 1 km, or 3 inches at a mile",
    "temperature gradient": "how much warmer the air is for each step higher up: the warmer above, the more it bends the line of sight down; air 3 K warmer than the water is so mostly near the water, and still grows 0.17 K warmer in the metre round 1.6 m",
    "k": "how much the air bends the line of sight: 0 is straight, 1 is down as much as the Earth curves, below 0 is up",
    "null control": "a line so short that neither curve nor air can show much; a large offset there comes from the level or from the hands",
    "3.86 are needed": "so many typical errors between the two predictions, and 9 of 10 such measurements exclude the wrong one, 1 of 100 the right one; that was agreed beforehand",
    "95 %": "19 of 20 such bars hold the true value",
    "no upper bound": "a ball of any size from there on fits, so even flat water does: the larger the ball, the flatter",
    "heights ×": "the picture stretches heights so much more than distances",
}


def _km(metres: float, system: str) -> str:
    """A radius to three figures."""
    value = units.convert(metres, "mi" if system == "us" else "km")
    digits = 2 - math.floor(math.log10(value))
    return f"{round(value, digits):,.0f}\u00a0{'miles' if system == 'us' else 'km'}".replace(",", "\u00a0")


def length(metres: float, system: str) -> str:
    """A length of sight in words; US: in miles from half a mile on."""
    if system != "us":
        return f"{metres:.0f} m"
    miles = units.convert(metres, "mi")
    return f"{miles:.2f} miles" if miles >= 0.5 else f"{units.convert(metres, 'ft'):.0f} ft"


def offset(metres: float, system: str, sign: str = "") -> str:
    """A height in words, to a tenth of a millimetre where it is small; `sign` "+" shows it for both.

    >>> offset(0.1, "metric"), offset(0.1, "us"), offset(0.0012, "metric", "+")
    ('100 mm', '3.9 in', '+1.2 mm')
    """
    if system == "us":
        return f"{units.convert(metres, 'in'):{sign}.{1 if abs(metres) >= 0.01 else 2}f} in"
    return f"{metres * 1000:{sign}.{0 if abs(metres) >= 0.01 else 1}f} mm"


def _uncertain(verdict: Verdict, system: str) -> str:
    """Why a measurement can't tell: the two hypotheses lie too near one another, or the path of the light follows from nothing."""
    if not verdict.settled:
        first = " But look for a slip first: the readings contradict one another as well." if verdict.result.contradictory else ""
        return f"the air bends the line of sight so much, or so near to the water, that its path hangs on the very curvature that is sought. Raise the line, or wait for air as warm as the water.{first}"
    chance = " By the rule it decides nothing: luck is no proof." if min(verdict.p_flat, verdict.p_ellipsoid) < 0.05 else ""
    return (f"the two lie only {verdict.separation:.2f} typical errors (standard uncertainties) apart; {verdict.gate:.2f} are needed."
            + _explained(verdict, system) + chance)


def _unlikely(verdict: Verdict) -> str:
    """Which of the two, or both, would lead to such a result in fewer than 5 of 100 measurements, and yet in more than the rule allows."""
    rule = verdict.result.book.rule
    both = ("flat water", verdict.p_flat, rule.alpha_flat), ("water that follows the Earth", verdict.p_ellipsoid, rule.alpha_ellipsoid)
    return " as well as with ".join(name for name, p, alpha in both if alpha <= p < 0.05)


def finding(verdict: Verdict, system: str) -> str:
    """What was shown, and how surely or why not."""
    rule, distance = verdict.result.book.rule, verdict.distance
    over = length(distance, system)
    low, high = verdict.radius
    if math.isnan(low):
        radius = "No radius of a curved surface fits the measurement."
    elif math.isinf(high):
        fits = "" if verdict.outcome in ("flat rejected", "both rejected") else ", so flat water still fits"
        radius = f"The radius is at least {_km(low, system)} and has no upper bound{fits}."
    else:
        radius = f"The radius that fits lies between {_km(low, system)} and {_km(high, system)} (95 %)."
    if verdict.outcome == "undecided" and (unlikely := _unlikely(verdict)):
        radius += f" With {unlikely} fewer than 5 of 100 measurements end so far off, but the rule asks for fewer than {100 * min(rule.alpha_flat, rule.alpha_ellipsoid):g} before it excludes."
    texts = {
        "readings disagree": f"The readings over {over} contradict one another beyond their uncertainty, so they say nothing about "
                             f"the shape of the water; find the blunder first.{_at_odds(verdict, system)}",
        "too uncertain to decide": f"Over {over} this measurement can't tell flat water from water that follows the Earth: {_uncertain(verdict, system)}",
        "undecided": f"Over {over} neither flat water nor water that follows the Earth can be excluded. {radius}" + _worst_note(verdict),
        "flat rejected": f"Over {over} flat water is excluded (if all is as stated, in error at most {100 * rule.alpha_flat:g} % of the time), "
                         f"and {_fits('water that follows the Earth', verdict.z_ellipsoid, rule.alpha_ellipsoid)}. {radius}",
        "ellipsoid rejected": f"Over {over} water that follows the Earth is excluded (if all is as stated, in error at most "
                              f"{100 * rule.alpha_ellipsoid:g} % of the time), and {_fits('flat water', verdict.z_flat, rule.alpha_flat)}. {radius}",
        "both rejected": f"Over {over} the measurement fits neither flat water nor water that follows the Earth: something in it is not as "
                         f"stated.{_explained(verdict, system)} {radius}",
    }
    return texts[verdict.outcome]


def _fits(what: str, z: float, alpha: float) -> str:
    return f"the measurement agrees with {what}" if abs(z) < COVERAGE else f"{what} can't be excluded as surely as the rule asks (in error at most {100 * alpha:g} % of the time)"


def _explained(verdict: Verdict, system: str) -> str:
    """The excess over the ellipsoid, in terms of what could cause it alone."""
    excess = verdict.excess
    found = verdict.result.curvature.value / verdict.result.ellipsoid_curvature
    causes = []
    if abs(verdict.z_ellipsoid) < 1:
        return ""
    if not math.isnan(excess.collimation):
        unit = "in per 100 ft" if system == "us" else "mm per 30 m"
        slope = f"{in_words(abs(excess.collimation))[unit]:.{2 if system == 'us' else 1}f} {unit}"
        limit = {None: "", True: ", within its tolerance", False: ", beyond its tolerance"}[excess.within_tolerance]
        causes.append(f"a line of sight tilted by {abs(excess.collimation) * 1e6:.0f} µrad {'more' if excess.collimation > 0 else 'less'} ({slope}{limit})")
    if not math.isnan(excess.k):
        stated = verdict.result.effective_k
        causes.append(f"air of k = {stated + excess.k:.2f}, not {stated:.2f}")
    if not math.isnan(excess.height):
        causes.append(f"a height {offset(abs(excess.height), system)} wrong at the target")
    told = f"is {found:.1f} times that of the ellipsoid" if found > 0 else "is negative"
    return f" The curvature found {told}; any one could be why: {', '.join(causes)}." if causes else ""


def _at_odds(verdict: Verdict, system: str) -> str:
    """The reading that fits the rest worst, and what was stated beforehand that fits worst."""
    told, found = [], misfits(verdict.result)
    worst = found[0] if found else None
    if gross := gross_repeats(verdict.result):
        odd, by, u = odd_one_out(verdict.result, gross[0])
        return f" Most at odds is {odd}, {offset(abs(by), system)}{_bracketed(slip(by, u))} away from its repeats. Read it again first."
    if worst and abs(worst.standardised) > 2:
        tied = [m.label + _bracketed(_likely(m)) for m in found if abs(m.standardised) > 0.98 * abs(worst.standardised)]
        size = f"{abs(worst.movable):.1f} {_unit(worst)}" if _unit(worst) else offset(abs(worst.movable), system)
        one = f" Most at odds with the rest is {worst.label}, by {abs(worst.standardised):.1f} standard uncertainties; {size}{_bracketed(_likely(worst))} {'less' if worst.movable < 0 else 'more'} would make it fit."
        several = f" Most at odds with the rest, by {abs(worst.standardised):.1f} standard uncertainties, is one of these, which nothing tells apart: {'; '.join(tied)}."
        told.append((one if len(tied) == 1 else several) + " Read it again first.")
    elif not worst:
        told.append(" No single row can be named, since nothing checks any of them.")
    if beyond := culprits(verdict.result):
        told.append(f" Or what was stated beforehand is wrong: {beyond[0].label}.")
    return "".join(told)


def _unit(row: Misfit) -> str:
    """Unit of a row that isn't a length."""
    return "hPa" if row.label.endswith("humidity") else "K" if row.label.startswith("air.csv") else ""


def _likely(row: Misfit) -> str:
    """The usual slip that a misfit looks like."""
    return "" if _unit(row) else slip(row.movable, abs(row.movable / row.standardised))


def _bracketed(words: str) -> str:
    return f" ({words})" if words else ""


def _worst_note(verdict: Verdict) -> str:
    rule = verdict.result.book.rule
    lucky = (verdict.p_flat < rule.alpha_flat <= verdict.worst_flat) or (verdict.p_ellipsoid < rule.alpha_ellipsoid <= verdict.worst_ellipsoid)
    return " A level at the limit of its tolerance could have led there: test the level." if lucky else ""


def numbers(verdict: Verdict) -> str:
    if not verdict.settled:
        return "The path of the rays doesn't settle: no number found stands."
    kappa, expected = verdict.result.curvature, verdict.result.ellipsoid_curvature
    return (f"κ = ({kappa.value * 1e6:.4f} ± {kappa.u * 1e6:.4f})/1000 km (standard uncertainty), ellipsoid {expected * 1e6:.4f}/1000 km; "
            f"z(flat) = {verdict.z_flat:.2f}, z(ellipsoid) = {verdict.z_ellipsoid:.2f}, separation {verdict.separation:.2f} "
            f"(gate {verdict.gate:.2f}); two-sided p {verdict.p_flat:.2g} and {verdict.p_ellipsoid:.2g}, with each tolerance at its limit "
            f"{verdict.worst_flat:.2g} and {verdict.worst_ellipsoid:.2g}; likelihood ratio of ellipsoid to flat 10^{verdict.likelihood_ratio():.1f}, with "
            f"0.2 more in u(k) 10^{verdict.likelihood_ratio(0.2):.1f} (beside the verdict, not for it); χ² = {verdict.result.chi2:.1f} for {verdict.result.dof} degrees of freedom.")
