"""Why still water is not quite level: wind, seiche, flow, air pressure, waves, and the meniscus on a pole.

SI units. Each formula is the simplest that gives a size: for planning and for budgets, not for corrections.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from .numbers import GRAVITY, Array, Floats, checked, plain

WATER, AIR = 1000.0, 1.225  # kg/m³; the air of the standard atmosphere at 15 °C
# Wind stress over ρ U²: drag 1.6e-3 over some 30 lakes (Guseva et al., Bulk Transfer Coefficients ... Over Lakes and Reservoirs, abstract read)
MOMENTUM = AIR * 1.6e-3 / WATER
ZUIDER_ZEE = 3.6**2 * GRAVITY / 62e6  # the same from U²F/(62000 d), U in km/h, F in km
SURFACE_TENSION = 0.0728  # N/m, clean water at 20 °C; less where it is dirty
LINEAR = "linear in distance: looks like collimation"
OSCILLATES, COMMON, LOCAL = "oscillates: average", "common", "at one place: enters one height"


@dataclass(frozen=True)
class Cause:
    """What moves the water surface, by how much [m], in which shape, and what to do."""

    cause: str
    size: float
    shape: str
    remedy: str


def seiche_period(length: ArrayLike, depth: ArrayLike, mode: int = 1) -> Floats:
    """Period [s] of the free swing of a lake from its length and mean depth [m]: T = 2L/(n √(gD)).

    Notes
    -----
    Merian's formula for a box that is long beside its depth: Forel, *Le Léman*, vol. 2 (1895), p. 78 (read). A parabolic bed of the
    same mean depth has a period 9 % shorter (computed). Lake Geneva, 72.3 km and 152.7 m (from memory): 62 min against 73 min
    observed (Forel, read; 72 min in *Encyclopædia Britannica*, 9th ed., vol. 14, "Lake", read). So no closer than some 20 %:
    average over two periods or more.

    >>> round(seiche_period(3000.0, 10.0), 1)
    605.9
    """
    number = checked("mode", mode, 1, 1000, "the number of nodes, 1 for the slowest swing")
    return plain(2 * _metres("length", length) / (number * np.sqrt(GRAVITY * _metres("depth", depth))))


def mean_error(amplitude: ArrayLike, period: ArrayLike, duration: ArrayLike) -> Floats:
    """Largest error of the mean [m] of a swing over a duration [s] that is no known multiple of its period [s].

    The envelope of |sin x|/x with x = π duration/period: 16 % of the amplitude after two periods. Calculus.

    >>> round(mean_error(0.010, 600.0, 1200.0) * 1e3, 2)
    1.59
    """
    turns = math.pi * _seconds("duration", duration) / _seconds("period", period)
    return plain(_metres("amplitude", amplitude, 0.0) / np.maximum(turns, 1.0))


def wind_set_up(wind: ArrayLike, fetch: ArrayLike, depth: ArrayLike, stress: float = MOMENTUM) -> Floats:
    """How much higher the water stands at the lee shore [m]: s = stress · U²F/(g D), wind at 10 m [m/s] along the fetch [m].

    Notes
    -----
    MOMENTUM: balance of stress and slope, steady wind on a box of even depth, end to end, no stress at the bottom.
    ZUIDER_ZEE: Novak et al., *Hydraulic Structures*, eq. 4.9 (read; k "about 62 000"), times cos α where the wind blows aslant; it doesn't say whether
    over still water or end to end, and needs about 1 h of steady wind for 3 km. Both for s far below the depth.

    >>> [round(wind_set_up(10.0, 1000.0, 5.0, stress) * 1e3, 2) for stress in (MOMENTUM, ZUIDER_ZEE)]
    [4.0, 4.18]
    """
    share = checked("stress", stress, 0, 1e-4, "the wind stress over ρ U², about 2e-6")
    return plain(share * _speed("wind", wind) ** 2 * _metres("fetch", fetch) / (GRAVITY * _metres("depth", depth)))


def flow_slope(speed: ArrayLike, hydraulic_radius: ArrayLike, n: float = 0.03) -> Floats:
    """Slope [-] of water that flows at a mean speed [m/s]: S = (nV)²/R^(4/3); R [m] is the mean depth if the water is wide.

    Notes
    -----
    Manning, as hydraulics texts have it, n in s/m^(1/3); 0.03 for a clean straight stream, 0.1 for one full of weed (Chow 1959, table 5-6,
    seen copied).
    For fully rough flow: below some cm/s it gives the order of size only.

    >>> round(flow_slope(0.1, 2.0) * 1e6, 2)  # mm per km
    3.57
    """
    rough = checked("n", n, 0.005, 0.5, "Manning's n, 0.03 as a rule")
    return plain((rough * _speed("speed", speed)) ** 2 / _metres("hydraulic_radius", hydraulic_radius) ** (4 / 3))


def velocity_head(speed: ArrayLike) -> Floats:
    """How far water that moves at a speed [m/s] stands below water at rest, or piles up before a pole [m]: V²/2g (Bernoulli).

    >>> round(velocity_head(0.3) * 1e3, 2)
    4.59
    """
    return plain(_speed("speed", speed) ** 2 / (2 * GRAVITY))


def weir_head(discharge: ArrayLike, width: ArrayLike) -> Floats:
    """Head H [m] over an outlet like a weir, from Q = 1.84 b H^1.5 [m³/s, m]: keep 4H or more upstream of it.

    Francis, sharp crest, no side contraction: 3.33 in feet, 1.84 in metres, as two sources give it. The rule of 4H: from memory.

    >>> round(weir_head(1.0, 5.0), 3)
    0.228
    """
    flow = checked("discharge", discharge, 0.0, 1e6, "cubic metres per second")
    return plain((flow / (1.84 * _metres("width", width))) ** (2 / 3))


def pressure_rise(pressure: ArrayLike) -> Floats:
    """Rise of the water [m] where the air presses by so much more than elsewhere on the lake [Pa]: -Δp/(ρ g).

    Hydrostatics, fresh water, once the lake has come to rest. Across a lake: gradient times length. A pressure that
    changes alike over the whole lake moves nothing.

    >>> round(pressure_rise(100.0) * 1e3, 2)  # 1 hPa
    -10.2
    """
    return plain(-checked("pressure", pressure, -1e5, 1e5, "pascals") / (WATER * GRAVITY))


def fetch_waves(wind: ArrayLike, fetch: ArrayLike) -> tuple[Floats, Floats]:
    """Significant height [m] and peak period [s] of the waves that a wind at 10 m [m/s] raises over a fetch [m].

    Notes
    -----
    H_s = 0.0016 √X U²/g, T_p = 0.286 X^(1/3) U/g, X = gF/U², up to the full sea, H_s g/U² = 0.243 (JONSWAP form; read in the
    programs of ACES, U.S. Army Corps of Engineers, for a wind adjusted by its drag, and in a worked exercise). Steady wind,
    water deeper than half a wave length.

    >>> [round(value, 3) for value in fetch_waves(5.0, 1000.0)]
    [0.081, 1.067]
    """
    speed = _speed("wind", wind)
    reach = np.minimum(_metres("fetch", fetch), (0.243 / 0.0016) ** 2 * speed**2 / GRAVITY)
    return plain(0.0016 * speed * np.sqrt(reach / GRAVITY)), plain(0.286 * np.cbrt(reach * speed / GRAVITY**2))


def wave_u(height: ArrayLike, n: ArrayLike = 1) -> Floats:
    """Standard uncertainty [m] of the mean of n independent glances at water with waves of a significant height: H_s/(4 √n).

    Definition of H_s as four standard deviations of the surface. Glances are independent some periods apart.

    >>> round(wave_u(0.1, 400) * 1e3, 2)
    1.25
    """
    return plain(_metres("height", height, 0.0) / (4 * np.sqrt(checked("n", n, 1, 1e9, "how many glances, 1 or more"))))


def midpoint_bias(amplitude: ArrayLike, period: ArrayLike) -> Floats:
    """How far the middle between crest and trough lies above the mean water [m]: k a²/2, k = (2π/T)²/g.

    Stokes, second order, deep water (tested against an exact wave): η = a cos θ + (k a²/2) cos 2θ. `amplitude` a [m] is half the wave height.

    >>> round(midpoint_bias(0.04, 1.0) * 1e3, 1)
    3.2
    """
    number = (2 * math.pi / _seconds("period", period)) ** 2 / GRAVITY
    return plain(number * _metres("amplitude", amplitude, 0.0) ** 2 / 2)


def stilling_port(diameter: ArrayLike) -> Floats:
    """Diameter of the hole in a thin wall [m] that stills the water in a tube of some inner diameter [m].

    Hole about 1/1000 of the tube's area: USBR, *Water Measurement Manual*, ch. 6, sec. 7 (read); for a long pipe 1/20 of the diameter.

    >>> round(stilling_port(0.100) * 1e3, 1)
    3.2
    """
    return plain(_metres("diameter", diameter) / math.sqrt(1000))


def meniscus(contact_angle: ArrayLike = 0.0) -> Floats:
    """How high clean water climbs up a wide flat staff [m]: √(2 (1 - sin θ) σ/(ρ g)); `contact_angle` θ [rad], 0 = fully wetted.

    The weight of the water beside the staff balances its surface: ρ g h²/2 = σ (1 - sin θ). A round pole lifts less: 3.45 mm at
    20 mm thickness (computed). Beyond π/2, on wax or grease, the water is pushed down: the same size with a minus.

    >>> round(meniscus() * 1e3, 2)
    3.85
    """
    angle = checked("contact_angle", contact_angle, 0.0, math.pi, "radians, 0 for a wetted pole")
    return plain(np.copysign(np.sqrt(2 * (1 - np.sin(angle)) * SURFACE_TENSION / (WATER * GRAVITY)), math.pi / 2 - angle))


def what_matters(length: float, depth: float, wind: float = 0.0, flow: float = 0.0, pressure_gradient: float = 0.0) -> list[Cause]:
    """What moves the water between the two ends of a line on this lake, largest first.

    `length` and mean `depth` [m], `wind` [m/s] and `flow` [m/s] along it, `pressure_gradient` of the air [Pa/m]. Sizes are
    orders of size: the seiche is taken as the set-up that swings back, and passing weather can raise a larger one.

    >>> [(c.cause, round(c.size * 1e3, 1)) for c in what_matters(1000.0, 5.0, wind=3.0)[:3]]
    [('waves', 12.1), ('meniscus', 3.9), ('crest and trough', 1.5)]
    """
    height, peak = (float(value) for value in fetch_waves(wind, length))
    tilt, minutes = float(wind_set_up(wind, length, depth)), float(seiche_period(length, depth)) / 30
    pressure = abs(float(pressure_rise(pressure_gradient * length)))
    causes = [
        Cause("wind set-up", tilt, LINEAR, "wait for a calm, or measure under opposite winds"),
        Cause("seiche", tilt, OSCILLATES, f"average over two periods, {minutes:.0f} min or more, or read both ends at once"),
        Cause("waves", float(wave_u(height)), OSCILLATES, "a stilling tube, or the mean of many glances: 25 leave a fifth"),
        Cause("crest and trough", float(midpoint_bias(height / 2, peak)) if height > 1e-6 else 0.0, LOCAL,
              "average the level itself: the middle between crest and trough lies too high"),
        Cause("slope of the flow", float(flow_slope(flow, depth)) * length, LINEAR, "choose a line without a current"),
        Cause("velocity head", float(velocity_head(flow)), LOCAL, "touch the water where it is at rest, away from in- and outlet"),
        Cause("air pressure", pressure, LINEAR, "settled weather, or a barometer at each end"),
        Cause("meniscus", float(meniscus()), COMMON, "the same clean pole at both ends, read the same way"),
    ]
    return sorted((cause for cause in causes if cause.size), key=lambda cause: -cause.size)


def _metres(name: str, values: ArrayLike, low: float = 1e-6) -> Array:
    """Checked lengths [m]."""
    return checked(name, values, low, 1e7, f"metres, {'0 or more' if not low else 'above 0'}")


def _seconds(name: str, values: ArrayLike) -> Array:
    """Checked times [s], above 0."""
    return checked(name, values, 1e-3, 1e9, "seconds, above 0")


def _speed(name: str, values: ArrayLike) -> Array:
    """Checked speeds [m/s], 0 or more."""
    return checked(name, values, 0.0, 100.0, "metres per second, 0 or more")
