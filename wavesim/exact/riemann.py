"""Exact Riemann problem: two perfect gases at rest or moving, set free at t = 0.

::

        t
        |   left wave       contact      right wave
        |  head  tail          |        tail  head
        |    \\    \\  star left  |  star right /   /
        |     \\    \\            |            /   /
        +----------------------x/t = 0-----------------> x

Across a wave facing the gas K (rho, u, p, gamma) at pressure p the velocity changes by

    shock  (p > pK):  (p - pK) / sqrt(rhoK ((gamma+1)/2 p + (gamma-1)/2 pK))
    fan    (p < pK):  2 cK/(gamma-1) ((p/pK)**((gamma-1)/(2 gamma)) - 1)

and the star pressure makes both sides meet: fL(p) + fR(p) + uR - uL = 0, a rising function of p.
Toro, Riemann Solvers and Numerical Methods for Fluid Dynamics (3rd ed. 2009), ch. 4; with a
gamma on each side the two functions simply take their own gamma.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from wavesim.exact._tools import require
from wavesim.guard import guarded


class _Side(NamedTuple):
    """Undisturbed gas of one side; facing = +1 left of the contact, -1 right of it."""

    rho: float
    u: float
    p: float
    gamma: float
    facing: int

    @property
    def c(self):
        return np.sqrt(self.gamma * self.p / self.rho) if self.rho > 0.0 else 0.0


@dataclass(frozen=True)
class RiemannSolution:
    """Self-similar solution of a Riemann problem; made by `solve_riemann`.

    Attributes
    ----------
    p_star, u_star : float              Pressure [Pa] and velocity [m/s] at the contact; 0 and
                                        nan where a vacuum opens.
    rho_star_left, rho_star_right : float   Densities beside the contact [kg/m3].
    left_wave : tuple                   Speeds (head, tail) of the left wave [m/s], one for a shock.
    right_wave : tuple                  Speeds (tail, head) of the right wave [m/s].
    vacuum : bool                       Whether an empty region lies between the two waves.
    """

    left: _Side
    right: _Side
    p_star: float
    u_star: float
    rho_star_left: float
    rho_star_right: float
    left_wave: tuple[float, float]
    right_wave: tuple[float, float]
    vacuum: bool

    def sample(self, x_over_t):
        """State on rays from the origin.

        Parameters
        ----------
        x_over_t : float or ndarray     Distance from the origin over time [m/s], any shape.

        Returns
        -------
        rho, u, p : ndarray             Density [kg/m3], velocity [m/s], pressure [Pa], shape of
                                        x_over_t.  In a vacuum rho = p = 0 and u = x/t, which
                                        joins the fans without a jump.
        """
        xi = np.asarray(x_over_t, dtype=float)
        (head_l, tail_l), (tail_r, head_r) = self.left_wave, self.right_wave
        zones = [xi <= head_l, xi < tail_l, xi >= head_r, xi > tail_r]
        states = [self.left[:3], _fan(self.left, xi), self.right[:3], _fan(self.right, xi)]
        if self.vacuum:
            rest = (0.0, xi, 0.0)
        else:
            rho_star = np.where(xi < self.u_star, self.rho_star_left, self.rho_star_right)
            rest = (rho_star, self.u_star, self.p_star)
        return tuple(
            np.select(zones, [np.broadcast_to(s[i], xi.shape) for s in states], rest[i])
            for i in range(3)
        )


@guarded
def solve_riemann(
    left: tuple[float, float, float],
    right: tuple[float, float, float],
    gamma: float,
    gamma_right: float | None = None,
) -> RiemannSolution:
    """Solve the Riemann problem of two perfect gases exactly.

    Parameters
    ----------
    left, right : (rho, u, p)           Density [kg/m3], velocity [m/s], pressure [Pa]; rho = p = 0
                                        stands for an empty side.
    gamma : float                       Ratio of specific heats (left), > 1.
    gamma_right : float, optional       That of the right gas; the same if not given.

    Returns
    -------
    RiemannSolution

    Raises
    ------
    InputError                          Negative or non-finite states, gamma <= 1, or both sides
                                        empty.

    Notes
    -----
    Toro (2009), ch. 4: pressure function sec. 4.2, sampling sec. 4.5, vacuum sec. 4.6.  The root
    is bracketed and found to a few units of round-off.

    >>> tube = solve_riemann((1.0, 0.0, 1.0), (0.125, 0.0, 0.1), 1.4)
    >>> print(round(tube.p_star, 6), round(tube.u_star, 6))
    0.30313 0.927453
    """
    side_l = _checked_side("left", left, gamma, +1)
    side_r = _checked_side("right", right, gamma if gamma_right is None else gamma_right, -1)
    require(side_l.rho > 0.0 or side_r.rho > 0.0, "solve_riemann: both sides are empty.")
    if _opens_vacuum(side_l, side_r):
        return _vacuum_solution(side_l, side_r)
    p_star = _star_pressure(side_l, side_r)
    jump_l, jump_r = _velocity_jump(side_l, p_star), _velocity_jump(side_r, p_star)
    u_star = 0.5 * (side_l.u + side_r.u + jump_r - jump_l)
    return RiemannSolution(
        left=side_l,
        right=side_r,
        p_star=p_star,
        u_star=u_star,
        rho_star_left=_star_density(side_l, p_star),
        rho_star_right=_star_density(side_r, p_star),
        left_wave=_wave_speeds(side_l, p_star, u_star),
        right_wave=_wave_speeds(side_r, p_star, u_star)[::-1],
        vacuum=False,
    )


def _checked_side(name, state, gamma, facing):
    rho, u, p = (float(v) for v in state)
    filled = rho > 0.0 and p > 0.0
    empty = rho == 0.0 and p == 0.0
    require(
        np.isfinite([rho, u, p]).all() and (filled or empty),
        f"solve_riemann: {name} state must have finite rho > 0 kg/m3 and p > 0 Pa "
        f"(or both 0 for vacuum), got {(rho, u, p)}.",
    )
    require(
        gamma > 1.0 and np.isfinite(gamma),
        f"solve_riemann: gamma must be finite and > 1 (no unit), got {gamma}.",
    )
    return _Side(rho, u, p, float(gamma), facing)


def _velocity_jump(side, p):
    """|du| from the undisturbed gas to pressure p [m/s], negative for a fan.  Toro eq. 4.6, 4.7."""
    g = side.gamma
    if p > side.p:
        inertia = side.rho * (0.5 * (g + 1.0) * p + 0.5 * (g - 1.0) * side.p)
        return (p - side.p) / np.sqrt(inertia)
    if p == 0.0:
        return -2.0 * side.c / (g - 1.0)
    # expm1 keeps every digit of a weak fan.
    return 2.0 * side.c / (g - 1.0) * np.expm1(0.5 * (g - 1.0) / g * np.log(p / side.p))


def _star_density(side, p):
    """Density between wave and contact [kg/m3].  Toro eq. 4.50 (shock), 4.53 (fan)."""
    g, ratio = side.gamma, p / side.p
    if ratio > 1.0:
        q = (g - 1.0) / (g + 1.0)
        return side.rho * (ratio + q) / (q * ratio + 1.0)
    return side.rho * ratio ** (1.0 / g)


def _wave_speeds(side, p, u_star):
    """(head, tail) of the wave facing `side` [m/s]; the head is the edge at the undisturbed gas."""
    g, s, ratio = side.gamma, side.facing, p / side.p
    if ratio > 1.0:
        mach = np.sqrt(0.5 * (g + 1.0) / g * ratio + 0.5 * (g - 1.0) / g)
        return (side.u - s * side.c * mach,) * 2
    c_star = side.c * ratio ** (0.5 * (g - 1.0) / g)
    return side.u - s * side.c, u_star - s * c_star


def _fan(side, xi):
    """rho, u, p inside the fan facing `side` on the rays xi.  Toro eq. 4.56, 4.63."""
    g, s = side.gamma, side.facing
    if side.rho == 0.0:
        return 0.0, xi, 0.0
    u = 2.0 / (g + 1.0) * (s * side.c + 0.5 * (g - 1.0) * side.u + xi)
    c = 2.0 / (g + 1.0) * (side.c + s * 0.5 * (g - 1.0) * (side.u - xi))
    ratio = np.maximum(c, 0.0) / side.c
    return side.rho * ratio ** (2.0 / (g - 1.0)), u, side.p * ratio ** (2.0 * g / (g - 1.0))


def _star_pressure(side_l, side_r):
    from scipy.optimize import brentq

    def excess(p):
        return _velocity_jump(side_l, p) + _velocity_jump(side_r, p) + side_r.u - side_l.u

    high = max(side_l.p, side_r.p)
    while excess(high) < 0.0:
        high *= 4.0
    eps = np.finfo(float).eps
    return brentq(excess, 0.0, high, xtol=1e-300, rtol=4.0 * eps, maxiter=2000)


def _escape_edge(side):
    """Velocity at which the gas of one side meets a vacuum [m/s].  Toro sec. 4.6."""
    return side.u + side.facing * 2.0 * side.c / (side.gamma - 1.0)


def _opens_vacuum(side_l, side_r):
    if side_l.rho == 0.0 or side_r.rho == 0.0:
        return True
    return _escape_edge(side_l) <= _escape_edge(side_r)


def _vacuum_solution(side_l, side_r):
    left_wave = (side_l.u - side_l.c, _escape_edge(side_l))
    right_wave = (_escape_edge(side_r), side_r.u + side_r.c)
    if side_l.rho == 0.0:
        left_wave = (-np.inf, -np.inf)
    if side_r.rho == 0.0:
        right_wave = (np.inf, np.inf)
    return RiemannSolution(
        left=side_l,
        right=side_r,
        p_star=0.0,
        u_star=np.nan,
        rho_star_left=0.0,
        rho_star_right=0.0,
        left_wave=left_wave,
        right_wave=right_wave,
        vacuum=True,
    )
