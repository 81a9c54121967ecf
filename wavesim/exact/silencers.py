"""Transmission loss of silencers by plane-wave transfer matrices, without mean flow.

Each element maps (p, U) of its outlet side to that of its inlet side; U is the volume velocity
times rho c, so a pipe of area S has the impedance 1/S.  Elements multiply:

    [p]   [ cos kL      j sin kL / S ] [p]          [p]   [1  0] [p]
    [U] = [ j S sin kL     cos kL    ] [U]  (pipe)  [U] = [Y  1] [U]  (branch of admittance Y)

Munjal, Acoustics of Ducts and Mufflers (2nd ed. 2014), ch. 2-3.  Time factor exp(+j omega t).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from wavesim.constants import HOLE_END
from wavesim.errors import InputError
from wavesim.exact._tools import Numbers, require
from wavesim.guard import guarded


def _circle(diameter):
    return 0.25 * np.pi * diameter**2


def _pipe(k, length, area):
    cos, sin = np.cos(k * length), np.sin(k * length)
    return np.array([[cos, 1j * sin / area], [1j * area * sin, cos]])


def _branch(admittance):
    return np.array([[1.0, 0.0], [admittance, 1.0]])


def _stub(k, length, area):
    """Branch of a closed pipe."""
    return _branch(1j * area * np.tan(k * length))


def _loss(matrix, area_in, area_out):
    """Transmission loss [dB] between pipes without reflection.  Munjal (2014) sec. 3.1."""
    (a, b), (c, d) = matrix
    ratio = 0.5 * (a + b * area_out + c / area_in + d * area_out / area_in)
    return float(20.0 * np.log10(abs(ratio)) + 10.0 * np.log10(area_in / area_out))


def _spectrum(one, frequency):
    f = np.asarray(frequency, dtype=float)
    losses = np.array([one(v) for v in f.ravel()]).reshape(f.shape)
    return losses if losses.ndim else float(losses)


@guarded
def expansion_chamber_loss(
    frequency: Numbers,
    length: float,
    diameter: float,
    inlet: float,
    outlet: float | None = None,
    inlet_inside: float = 0.0,
    outlet_inside: float = 0.0,
    c: float = 343.2,
) -> Numbers:
    """Transmission loss of an expansion chamber, its tubes possibly reaching inside.

    Parameters
    ----------
    frequency : float or ndarray    [Hz].
    length, diameter : float        Of the chamber [m].
    inlet, outlet : float           Diameters of the tubes [m]; outlet = inlet if not given.
    inlet_inside, outlet_inside : float     Lengths the tubes reach into the chamber [m].
    c : float                       Sound speed [m/s].

    Returns
    -------
    float or ndarray                Transmission loss [dB].

    Raises
    ------
    InputError                      If the tubes overlap.

    Notes
    -----
    Munjal (2014) sec. 2.15-2.18.  The ring around an extended tube is a closed side branch.  No end
    corrections.

    >>> print(round(expansion_chamber_loss(286.0, 0.3, 0.15, 0.05), 3))
    13.171
    """
    middle = length - inlet_inside - outlet_inside
    require(middle >= 0.0, f"expansion_chamber_loss: tubes overlap by {-middle:.4g} m.")
    chamber, area_in = _circle(diameter), _circle(inlet)
    area_out = area_in if outlet is None else _circle(outlet)

    def one(f):
        k = 2.0 * np.pi * f / c
        first = _stub(k, inlet_inside, chamber - area_in)
        last = _stub(k, outlet_inside, chamber - area_out)
        return _loss(first @ _pipe(k, middle, chamber) @ last, area_in, area_out)

    return _spectrum(one, frequency)


@guarded
def quarter_wave_branch_loss(
    frequency: Numbers, length: float, diameter: float, pipe: float, c: float
) -> Numbers:
    """Transmission loss [dB] of a closed side branch.  Munjal (2014) sec. 2.15.

    `frequency` [Hz]; branch `length` and `diameter`, `pipe` diameter [m]; `c` [m/s].

    >>> print(f"{quarter_wave_branch_loss(150.0, 0.5, 0.05, 0.05, 340.0):.5g}")
    9.1139
    """

    def one(f):
        area = _circle(pipe)
        return _loss(_stub(2.0 * np.pi * f / c, length, _circle(diameter)), area, area)

    return _spectrum(one, frequency)


@guarded
def helmholtz_branch_loss(
    frequency: Numbers,
    neck_area: float,
    neck_length: float,
    volume: float,
    pipe_area: float,
    c: float,
) -> Numbers:
    """Transmission loss [dB] of a Helmholtz resonator on the side of a pipe, lumped neck.

    `frequency` [Hz], areas [m2], `neck_length` [m] with its end corrections, `volume` [m3],
    `c` [m/s].  Kinsler et al. (2000) ch. 10.

    >>> print(f"{helmholtz_branch_loss(100.0, 1e-4, 0.02, 1e-3, 2e-3, 340.0):.5g}")
    4.9475
    """

    def one(f):
        k = 2.0 * np.pi * f / c
        impedance = 1j * (k * neck_length / neck_area - 1.0 / (k * volume))
        return _loss(_branch(1.0 / impedance), pipe_area, pipe_area)

    return _spectrum(one, frequency)


# Perforated tubes -----------------------------------------------------------------------------


@guarded
def perforate_sullivan_crocker(
    k: Numbers, porosity: Numbers, hole: Numbers, wall: Numbers
) -> complex | np.ndarray:
    """Impedance of a perforated wall in still gas, over rho c (no unit, complex).

    `k` [1/m], `porosity` (no unit), `hole` diameter and `wall` thickness [m]:
    (0.006 + j k (t + 0.75 d))/sigma.  Sullivan and Crocker (1978), J. Acoust. Soc. Am. 64.

    >>> print(f"{abs(perforate_sullivan_crocker(5.0, 0.1, 3e-3, 1e-3)):.5g}")
    0.17322
    """
    return (6e-3 + 1j * k * (wall + HOLE_END * hole)) / porosity


@guarded
def perforate_rao_munjal(
    frequency: Numbers, porosity: Numbers, hole: Numbers, wall: Numbers, mach: Numbers = 0.0
) -> complex | np.ndarray:
    """Impedance of a perforated wall under grazing flow, over rho c (no unit, complex).

    `frequency` [Hz], `hole` and `wall` [m], `mach` of the grazing flow.  Rao and Munjal (1986),
    J. Sound Vib. 108.

    >>> print(f"{abs(perforate_rao_munjal(200.0, 0.1, 3e-3, 1e-3, 0.1)):.5g}")
    0.60801
    """
    resistance = 7.337e-3 * (1.0 + 72.23 * mach)
    reactance = 2.2245e-5 * frequency * (1.0 + 51.0 * wall) * (1.0 + 204.0 * hole)
    return (resistance + 1j * reactance) / porosity


@guarded
def hole_pressure_drop(
    speed: Numbers, density: Numbers, discharge: Numbers, porosity: Numbers
) -> Numbers:
    """Quasi-steady pressure drop of holes [Pa]: rho u**2 (1 - sigma**2)/(2 Cd**2).

    `speed` in the holes [m/s], `density` [kg/m3], discharge coefficient and porosity (no unit).

    >>> print(f"{hole_pressure_drop(10.0, 1.2, 0.7, 0.1):.5g}")
    121.22
    """
    return density * speed**2 * (1.0 - porosity**2) / (2.0 * discharge**2)


class Filling(NamedTuple):
    """Absorber as an equivalent fluid: impedance over rho c, wave number over k0 (complex)."""

    impedance: complex
    wave_number: complex

    def attenuation(self, k0):
        """Decay of a plane wave [dB/m] at the free wave number k0 [1/m]."""
        return -20.0 / np.log(10.0) * k0 * np.imag(self.wave_number)


@guarded
def delany_bazley(frequency: Numbers, resistivity: Numbers, density: Numbers = 1.205) -> Filling:
    """Fibrous absorber as `Filling`.  Delany and Bazley (1970), Appl. Acoust. 3.

    `frequency` [Hz], flow `resistivity` [Pa s/m2], air `density` [kg/m3]; meant for
    0.01 < rho f/R1 < 1.

    >>> print(f"{abs(delany_bazley(500.0, 10e3)[0]):.5g}")
    1.6241
    """
    x = density * frequency / resistivity
    z = 1.0 + 0.0571 * x**-0.754 - 0.087j * x**-0.732
    return Filling(z, 1.0 + 0.0978 * x**-0.700 - 0.189j * x**-0.595)


@guarded
def miki(frequency: Numbers, resistivity: Numbers) -> Filling:
    """Fibrous absorber as `Filling`, `frequency` [Hz], flow `resistivity` [Pa s/m2].

    Miki (1990), J. Acoust. Soc. Jpn. (E) 11: Delany and Bazley made causal.

    >>> print(f"{abs(miki(500.0, 10e3)[0]):.5g}")
    1.6282
    """
    y = frequency / resistivity
    z = 1.0 + (0.070 - 0.107j) * y**-0.632
    return Filling(z, 1.0 + (0.109 - 0.160j) * y**-0.618)


@guarded
def fibre_filling(
    frequency: float,
    resistivity: float,
    gas_fraction: float = 1.0,
    density: float = 1.205,
    gamma: float = 1.4,
    heat_time: float = 0.0,
) -> Filling:
    """Fibrous absorber as `Filling`, from the equations of motion and energy of the gas in it.

    Parameters
    ----------
    frequency : float           [Hz].
    resistivity : float         Flow resistivity on the superficial velocity [Pa s/m2].
    gas_fraction : float        Share of the volume that is gas (no unit).
    density : float             Of the gas [kg/m3].
    gamma : float               Its ratio of specific heats.
    heat_time : float           Time in which gas and fibre come to one temperature at constant
                                volume [s]; 0: isothermal sound, as in very fine fibre.

    Returns
    -------
    Filling                     For the superficial velocity.

    Notes
    -----
    With the share s of gas and the time factor exp(j omega t): effective density rho + s R/(j
    omega), effective ratio of specific heats (1 + gamma j omega tau)/(1 + j omega tau).  The fibres
    stand still, and each is far thinner than the boundary layer.  Zwikker and Kosten (1949), Sound
    Absorbing Materials, in the form for flow resistance alone; derived here.  Unlike the fits to
    measurements it has no inertia of the gas beyond its own and no structure factor.

    >>> print(f"{abs(fibre_filling(500.0, 10e3, 0.96)[0]):.5g}")
    1.4535
    """
    omega = 2.0 * np.pi * frequency
    heavy = 1.0 + resistivity * gas_fraction / (1j * omega * density)
    soft = gamma * (1.0 + 1j * omega * heat_time) / (1.0 + gamma * 1j * omega * heat_time)
    return Filling(np.sqrt(heavy / soft) / gas_fraction, np.sqrt(heavy * soft))


@guarded
def bies_hansen_resistivity(bulk_density: Numbers, fibre: Numbers) -> Numbers:
    """Flow resistivity of glass fibre [Pa s/m2]: 3.18e-9 rho**1.53/d**2.

    `bulk_density` [kg/m3], `fibre` diameter [m].  Bies and Hansen (1980), Appl. Acoust. 13.

    >>> print(f"{bies_hansen_resistivity(100.0, 1e-5):.5g}")
    36511
    """
    return 3.18e-9 * bulk_density**1.53 / fibre**2


_COX = {"fibreglass": (3.2, 1.42), "mineral": (4.4, 1.59)}


@guarded
def cox_resistivity(
    solid_fraction: Numbers, radius: Numbers, kind: str, viscosity: Numbers = 1.84e-5
) -> Numbers:
    """Flow resistivity of a fibrous absorber [Pa s/m2].

    `solid_fraction` (no unit), mean fibre `radius` [m], `kind` "fibreglass" or "mineral",
    `viscosity` [Pa s].  Cox and D'Antonio, Acoustic Absorbers and Diffusers, table 5.1.

    >>> print(f'{cox_resistivity(0.04, 5e-6, "mineral"):.5g}')
    19391
    """
    require(kind in _COX, f"cox_resistivity: kind must be one of {', '.join(_COX)}, got {kind!r}.")
    factor, power = _COX[kind]
    return factor * viscosity * solid_fraction**power / radius**2


@guarded
def perforated_loss(
    frequency: Numbers,
    length: float,
    pipe: float,
    shell: float,
    porosity: float,
    hole: float,
    wall: float,
    c: float = 343.2,
    filling: Callable[[float], Filling] | None = None,
    impedance: Callable[[float], complex] | None = None,
) -> Numbers:
    """Transmission loss of a straight perforated tube in a closed shell, empty or packed.

    Parameters
    ----------
    frequency : float or ndarray    [Hz].
    length, pipe, shell : float     Length, diameter of the tube, diameter of the shell [m].
    porosity, hole, wall : float    Open share (no unit), hole diameter, tube wall [m].
    c : float                       Sound speed [m/s].
    filling : callable, optional    `Filling` of the shell at a frequency [Hz]; gas if not given.
    impedance : callable, optional  Wall impedance over rho c at a frequency [Hz]; that of Sullivan
                                    and Crocker if not given.

    Returns
    -------
    float or ndarray                Transmission loss [dB].

    Raises
    ------
    InputError                      If a size is not above 0, or something is not finite.

    Notes
    -----
    Two pipes that exchange gas along their length, Sullivan and Crocker (1978):
    p1' = -j k v1, v1' = -j k p1 - 4/D1 w; p2' = -j kb zb v2, v2' = -j kb/zb p2 + 4 D1/(D2**2 -
    D1**2) w; w = (p1 - p2)/z, v2 = 0 at both ends; solved by the four modes of the pair.

    >>> print(f"{float(perforated_loss(300.0, 0.3, 0.05, 0.15, 0.1, 3e-3, 1e-3, 340.0)):.5g}")
    13.491
    """

    sizes = (length, pipe, shell, porosity, hole, wall, c)
    require(
        all(np.isfinite(size) and size > 0.0 for size in sizes) and shell > pipe
        and np.all(np.isfinite(frequency)),
        "perforated_loss: frequency must be finite, all sizes finite and above 0, and shell larger "
        "than pipe.",
    )

    def one(f):
        k = 2.0 * np.pi * f / c
        if impedance is None:
            z = perforate_sullivan_crocker(k, porosity, hole, wall)
        else:
            z = impedance(f)
        fill = Filling(1.0, 1.0) if filling is None else filling(f)
        try:
            matrix = _shell_matrix(k, length, pipe, shell, z, fill)
        except np.linalg.LinAlgError:
            raise InputError(
                f"perforated_loss: at frequency = {f:.4g} Hz the sizes are too far apart for the "
                "four modes of the pair to be told apart."
            ) from None
        # Velocities per area become volume velocities.
        area = _circle(pipe)
        scaled = matrix * np.array([[1.0, 1.0 / area], [area, 1.0]])
        return _loss(scaled, area, area)

    return _spectrum(one, frequency)


def _shell_matrix(k, length, pipe, shell, z, fill):
    """Transfer matrix in (p1, v1) with the shell space closed at both ends."""
    inner, outer = 4.0 / (pipe * z), 4.0 * pipe / ((shell**2 - pipe**2) * z)
    kb, zb = k * fill.wave_number, fill.impedance
    rate = np.array(
        [
            [0.0, 0.0, -1j * k, 0.0],
            [0.0, 0.0, 0.0, -1j * kb * zb],
            [-1j * k - inner, inner, 0.0, 0.0],
            [outer, -1j * kb / zb - outer, 0.0, 0.0],
        ]
    )
    power, mode = np.linalg.eig(rate)
    # A growing mode is measured from the outlet, so that no exponential is large.
    anchor = np.where(power.real > 0.0, length, 0.0)
    inlet, outlet = (mode * np.exp(power * (x - anchor)) for x in (0.0, length))
    given = np.array([inlet[3], outlet[3], outlet[0], outlet[2]])
    return inlet[[0, 2]] @ np.linalg.solve(given, np.eye(4)[:, 2:])
