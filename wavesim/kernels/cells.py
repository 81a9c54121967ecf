"""The finite-volume march of all cells of all ducts: short loops over plain arrays.

All ducts lie end to end on one cell axis with two ghost cells at each end.  Loops run across the
borders between ducts; what they compute there is never used.

      ghost ghost | cell lo ............ cell hi-1 | ghost ghost
                face lo                           face hi         face i lies between i-1 and i

Conserved per volume: r (density), m = r u, e = r (e_int + u^2/2), y1 = r yf, y2 = r yb.
One step is

    U_i += -dt/V_i [A F]_(i-1/2)^(i+1/2) + dt/V_i p_i (A_(i+1/2) - A_(i-1/2)) (momentum only)

with F from HLLC between face values that MUSCL-Hancock reconstructs in characteristic variables
and moves half a step ahead (van Leer 1979; Hancock in van Leer 1984; Toro 2009, sec. 14.4).  The
pressure source is taken inside the flux difference, A (F - p_i), so that gas at rest stays at rest
whatever A does.

Loops are branch-free and hold few arrays each, for the vectoriser (see DEVELOPERS.md).
"""

import math

import numpy as np

from .constants import HAALAND_SMOOTH, LAMINAR, PRANDTL, TURBULENT
from .jit import kernel, leaf
from .thermo import energy_cv, gas_constant, temperature_rise, viscosity

I1 = np.uintp(1)

# A jump of entropy beyond this share of the density, per cell, is treated as a contact and kept
# sharp; smaller ones are smooth waves and keep the limiter's second order.
STEEP_FROM = 0.05
STEEP_WIDTH = 0.05
FAINT = 1e-6  # slope of a mass fraction, per cell, that is no more than the end of a front
PUSH_OF_MIXTURE = 0.6  # (gamma + 1) / 4 of gamma = 1.4, the most of the engine gas; see `hllc`
PUSHED = 1.2  # share of the sound speed by which an outer wave may run ahead of sound
PRANDTL_POWER = PRANDTL ** (2.0 / 3.0)
#: Recovery factor of turbulent flow, Pr^(1/3): Kays and Crawford, Convective Heat and Mass Transfer
#: (1993), ch. 16; 0.875 measured in a tube by McAdams, Nicolai and Keenan, Trans. AIChE 42 (1946)
#: 907 (both from memory).  Laminar flow has less, Pr^(1/2), and is too slow for it to matter.
RECOVERY = PRANDTL ** (1.0 / 3.0)
SQRT_2 = math.sqrt(2.0)
LN_2 = math.log(2.0)


@leaf
def pick(first, a, b):
    """a or b, both known: a choice between two loads would keep a loop from being vectorised."""
    return a if first else b


@leaf
def half_slope(a, b, steep):
    """Half the limited slope from backward `a` and forward `b` differences.

    steep = 0 is the monotonized-central limiter (van Leer 1977); steep = 1 is twice the smaller
    difference, the sharpest slope that makes no new extrema.
    """
    mean = 0.25 * (1.0 + steep) * (a + b)
    low = min(a, b)
    high = max(a, b)
    return max(0.0, min(low, mean)) + min(0.0, max(high, mean))


@leaf
def half_slope_of_fraction(a, b, steep):
    """Like `half_slope`, but faint differences give half as much: the slope of minmod.

    Twice the smaller difference amplifies what rounding leaves in the faint end of a front, from
    1e-16 to 1e-8 until the front has passed; minmod does not.
    """
    half = half_slope(a, b, steep)
    return half - min(FAINT, max(-FAINT, 0.5 * half))


@leaf
def steepness(jump):
    """0 for smooth variation, 1 for a contact, from the relative jump per cell."""
    return min(1.0, max(0.0, (jump - STEEP_FROM) / STEEP_WIDTH))


@kernel
def primitives_perfect(n, r, m, e, T, u, p, c, w, inv_dx, gas_R, cv):
    """Velocity, pressure, temperature, sound speed and the rate w = (|u|+c)/dx."""
    gamma = 1.0 + gas_R / cv
    for i in range(np.uintp(n)):
        ri = r[i]
        ir = 1.0 / ri
        ui = m[i] * ir
        pi = (gamma - 1.0) * (e[i] - 0.5 * m[i] * ui)
        ci = math.sqrt(gamma * pi * ir if ri > 0.0 else -1.0)  # negative density: NaN in w
        u[i] = ui
        p[i] = pi
        c[i] = ci
        T[i] = pi * ir / gas_R
        w[i] = abs(abs(ui) + ci) * inv_dx[i]


@kernel
def fractions(n, r, y1, y2, yf, yb):
    """Mass fractions of fresh charge and burned gas."""
    for i in range(np.uintp(n)):
        ir = 1.0 / r[i]
        yf[i] = y1[i] * ir
        yb[i] = y2[i] * ir


@kernel
def primitives_mixture(n, r, m, e, y1, y2, T, u, p, c, yf, yb, w, inv_dx, R, coef):
    """Like `primitives_perfect` for the engine gas; T [K] enters as the guess of the last step.

    One expansion about that guess: what is left of the error, 1e-9 of T in waves of 1 % a step and
    2e-4 where a contact of 700 K passes, is gone after the next step.
    """
    for i in range(np.uintp(n)):
        ri = r[i]
        ir = 1.0 / ri
        ui = m[i] * ir
        f = y1[i] * ir
        b = y2[i] * ir
        d, per_cv = temperature_rise(coef, T[i], f, b, e[i] * ir - 0.5 * ui * ui)
        t = T[i] + d
        gas_R = gas_constant(R, f, b)
        rt = gas_R * t
        ci = math.sqrt((1.0 + gas_R * per_cv) * (rt if ri > 0.0 else -1.0))  # see above
        u[i] = ui
        yf[i] = f
        yb[i] = b
        T[i] = t
        p[i] = ri * rt
        c[i] = ci
        w[i] = abs(abs(ui) + ci) * inv_dx[i]


@kernel
def largest(n, w):
    """Largest of non-negative doubles, NaN if there is one.

    The bits of doubles of one sign order like integers, with NaN above infinity: this reduction
    vectorises and finds every NaN.
    """
    top = np.int64(0)
    for i in range(np.uintp(n)):
        top = max(top, np.float64(w[i]).view(np.int64))
    return np.int64(top).view(np.float64)


@kernel
def reconstruct(n, dt, r, u, p, c, inv_dx, dlnA, warmed, rm, um, pm, rp, up, pp, per_z):
    """Face values (m: low side, p: high side of each cell) half a step ahead.

    Limited in characteristic variables: the two sound waves by the monotonized-central limiter,
    the entropy wave by a sharper one where it is a contact.  Cells whose face values would not be
    positive fall back to their mean.  `warmed` is the pressure that the walls add in half a step;
    `per_z` receives 1 / (rho c) of the cells.
    """
    for i in range(I1, np.uintp(n) - I1):
        ri = r[i]
        ui = u[i]
        pi = p[i]
        z = ri * c[i]
        iz = 1.0 / z
        ic = ri * iz
        ic2 = ic * ic
        ir = c[i] * iz
        dp0 = pi - p[i - I1]
        dp1 = p[i + I1] - pi
        zu0 = z * (ui - u[i - I1])
        zu1 = z * (u[i + I1] - ui)
        ds0 = ri - r[i - I1] - dp0 * ic2
        ds1 = r[i + I1] - ri - dp1 * ic2
        left = half_slope(dp0 - zu0, dp1 - zu1, 0.0)
        right = half_slope(dp0 + zu0, dp1 + zu1, 0.0)
        entropy = half_slope(ds0, ds1, steepness(0.5 * ir * (abs(ds0) + abs(ds1))))
        sp = 0.5 * (left + right)
        su = 0.5 * (right - left) * iz
        sr = entropy + sp * ic2
        nu = dt * inv_dx[i]
        squeeze = nu * su + 0.5 * dt * ui * dlnA[i]  # half-step volume change, area included
        hr = -nu * ui * sr - ri * squeeze
        hu = -nu * (ui * su + sp * ir)
        hp = warmed[i] - nu * ui * sp - z * c[i] * squeeze
        low_r = ri + hr - abs(sr)
        low_p = pi + hp - abs(sp)
        keep = 1.0 if min(low_r - 0.05 * ri, low_p - 0.05 * pi) > 0.0 else 0.0
        rm[i] = ri + keep * (hr - sr)
        rp[i] = ri + keep * (hr + sr)
        um[i] = ui + keep * (hu - su)
        up[i] = ui + keep * (hu + su)
        pm[i] = pi + keep * (hp - sp)
        pp[i] = pi + keep * (hp + sp)
        per_z[i] = iz


@kernel
def fraction_slopes(n, dt, r, inv_vol, yf, yb, half_f, half_b, per_mass):
    """Half the slopes of the two mass fractions across each cell, and step over mass of the cell.

    Where the third part, the air, would become negative at a face, the slopes that would make it
    so give way, that of the fresh charge first.
    """
    for i in range(I1, np.uintp(n) - I1):
        a = yf[i] - yf[i - I1]
        b = yf[i + I1] - yf[i]
        sf = half_slope_of_fraction(a, b, steepness(0.5 * (abs(a) + abs(b))))
        a = yb[i] - yb[i - I1]
        b = yb[i + I1] - yb[i]
        sb = half_slope_of_fraction(a, b, steepness(0.5 * (abs(a) + abs(b))))
        both = sf + sb
        sign = 1.0 if both > 0.0 else -1.0
        excess = max(0.0, abs(both) - max(0.0, 1.0 - yf[i] - yb[i]))
        give = min(excess, max(0.0, sign * sf))
        sf -= sign * give
        sb -= sign * (excess - give)
        half_f[i] = sf
        half_b[i] = sb
        per_mass[i] = dt * inv_vol[i] / r[i]


@leaf
def hllc(rl, ul, pl, cl, per_zl, rr, ur, pr, cr, per_zr, k):
    """The HLLC flux between two states, up to what it carries from the side the gas comes from.

    Toro, Spruce and Speares (1994).  Each outer wave is at least as fast as sound on both sides
    (Davis, SIAM J. Sci. Stat. Comput. 9 (1988) 445), which bounds a shock inside the flow, and
    faster by k d where the acoustic estimate of the star pressure (Toro 2009, sec. 10.5.2) pushes
    the gas by d, which bounds a weak shock that is only about to form; k = (gamma + 1) / 4.

    `per_zl` and `per_zr` are 1 / (rho c), from the cells.  Returns (from the left, speed sm of the
    contact, speed sk of the outer wave on that side, 1 / (sk - sm), sk or 0 beyond that wave).
    """
    p_star = 0.5 * (pl + pr) - 0.125 * (ur - ul) * (rl + rr) * (cl + cr)
    sl = min(ul - cl - min(PUSHED * cl, k * per_zl * max(0.0, p_star - pl)), ur - cr)
    sr = max(ur + cr + min(PUSHED * cr, k * per_zr * max(0.0, p_star - pr)), ul + cl)
    ml = rl * (sl - ul)
    mr = rr * (sr - ur)
    thrust = pr - pl + ml * ul - mr * ur
    mass = ml - mr  # below zero
    from_left = thrust < 0.0
    sk = sl if from_left else sr
    s0 = min(sl, 0.0) if from_left else max(sr, 0.0)
    gap = sk * mass - thrust  # mass (sk - sm)
    per_both = 1.0 / (mass * gap)  # divisions cost most here: one for two
    return from_left, thrust * gap * per_both, sk, mass * mass * per_both, s0


@leaf
def hllc_flux(r, u, p, sm, sk, squeeze, s0):
    """Fluxes (mass, momentum, a, b) from the side whose state is given; that of energy is a e + b.

    e is the total energy per volume on that side.
    """
    step = s0 * (sm - u)
    carried = u + step * squeeze
    return (
        r * carried,
        p + r * (u * u + step * (1.0 + squeeze * sm)),
        carried,
        p * u + step * (r * (sk - u) * sm + p) * squeeze,
    )


@kernel
def flux_perfect(n, rm, um, pm, rp, up, pp, c, per_z, k, over_gm1, f_mass, f_mom, f_ene):
    """HLLC flux between the high side of cell i-1 and the low side of cell i, perfect gas."""
    for i in range(I1, np.uintp(n)):
        j = i - I1
        left, sm, sk, squeeze, s0 = hllc(
            rp[j], up[j], pp[j], c[j], per_z[j], rm[i], um[i], pm[i], c[i], per_z[i], k
        )
        r = pick(left, rp[j], rm[i])
        u = pick(left, up[j], um[i])
        p = pick(left, pp[j], pm[i])
        mass, momentum, carried, pushed = hllc_flux(r, u, p, sm, sk, squeeze, s0)
        f_mass[i] = mass
        f_mom[i] = momentum
        f_ene[i] = carried * (p * over_gm1 + 0.5 * r * u * u) + pushed


@kernel
def flux_mixture(n, rm, um, pm, rp, up, pp, c, per_z, k, f_mass, f_mom, f_ene):
    """Like `flux_perfect` for the engine gas; what the gas carries along, `carry_parts` adds."""
    for i in range(I1, np.uintp(n)):
        j = i - I1
        left, sm, sk, squeeze, s0 = hllc(
            rp[j], up[j], pp[j], c[j], per_z[j], rm[i], um[i], pm[i], c[i], per_z[i], k
        )
        r = pick(left, rp[j], rm[i])
        u = pick(left, up[j], um[i])
        p = pick(left, pp[j], pm[i])
        f_mass[i], f_mom[i], _, f_ene[i] = hllc_flux(r, u, p, sm, sk, squeeze, s0)


@leaf
def kept_share(passed, per_mass):
    """Share of a cell's gas that stays behind what leaves through a face; `passed` in kg/s."""
    return max(0.0, 1.0 - passed * per_mass)


@kernel
def carry_parts(n, f_mass, area, rm, um, pm, rp, up, pp, yf, yb, half_f, half_b, per_mass, R, coef,
                f_ene, f_yf, f_yb):
    """Energy, fresh charge and burned gas that the mass flux carries from where it comes.

    A fraction is a linear function of the mass between the faces of a cell, and what leaves takes
    the mean of its own stretch of it.  So the rest of the cell keeps the mean of the other
    stretch: nothing comes to lie outside the values that were there.
    """
    for i in range(I1, np.uintp(n)):
        j = i - I1
        mass = f_mass[i]
        left = mass > 0.0
        r = pick(left, rp[j], rm[i])
        u = pick(left, up[j], um[i])
        p = pick(left, pp[j], pm[i])
        kept = kept_share(abs(mass) * area[i], pick(left, per_mass[j], per_mass[i]))
        kept = pick(left, kept, -kept)
        f = pick(left, yf[j], yf[i]) + kept * pick(left, half_f[j], half_f[i])
        b = pick(left, yb[j], yb[i]) + kept * pick(left, half_b[j], half_b[i])
        warmth, _ = energy_cv(coef, p / (r * gas_constant(R, f, b)), f, b)
        f_ene[i] += mass * (warmth + 0.5 * u * u)
        f_yf[i] = mass * f
        f_yb[i] = mass * b


@kernel
def flux_fractions(n, f_mass, area, yf, yb, half_f, half_b, per_mass, f_yf, f_yb):
    """Fluxes of fresh charge and burned gas, as in `carry_parts`."""
    for i in range(I1, np.uintp(n)):
        j = i - I1
        mass = f_mass[i]
        left = mass > 0.0
        kept = kept_share(abs(mass) * area[i], pick(left, per_mass[j], per_mass[i]))
        kept = pick(left, kept, -kept)
        f = pick(left, yf[j], yf[i]) + kept * pick(left, half_f[j], half_f[i])
        b = pick(left, yb[j], yb[i]) + kept * pick(left, half_b[j], half_b[i])
        f_yf[i] = mass * f
        f_yb[i] = mass * b


@kernel
def update_flow(n, dt, area, inv_vol, pm, pp, f_mass, f_mom, f_ene, r, m, e):
    """Add the flux differences; the wall pressure is the mean of the two face pressures."""
    for i in range(np.uintp(n) - I1):
        j = i + I1
        a0 = dt * area[i] * inv_vol[i]
        a1 = dt * area[j] * inv_vol[i]
        wall = 0.5 * (pm[i] + pp[i])
        r[i] -= a1 * f_mass[j] - a0 * f_mass[i]
        m[i] -= a1 * (f_mom[j] - wall) - a0 * (f_mom[i] - wall)
        e[i] -= a1 * f_ene[j] - a0 * f_ene[i]


@kernel
def update_mixture(n, dt, area, inv_vol, pm, pp, f_mass, f_mom, f_ene, f_yf, f_yb, r, m, e, y1, y2):
    """The same with the two scalars."""
    for i in range(np.uintp(n) - I1):
        j = i + I1
        a0 = dt * area[i] * inv_vol[i]
        a1 = dt * area[j] * inv_vol[i]
        wall = 0.5 * (pm[i] + pp[i])
        r[i] -= a1 * f_mass[j] - a0 * f_mass[i]
        m[i] -= a1 * (f_mom[j] - wall) - a0 * (f_mom[i] - wall)
        e[i] -= a1 * f_ene[j] - a0 * f_ene[i]
        y1[i] -= a1 * f_yf[j] - a0 * f_yf[i]
        y2[i] -= a1 * f_yb[j] - a0 * f_yb[i]


@leaf
def logarithm(y):
    """Natural logarithm of y > 0 to 4e-6, without a call that would stop the vectoriser.

    y = 2^k m with 1 <= m < 2 stands in the bits of a double; ln m = ln sqrt(2) + 2 artanh(t) with
    t = (m - sqrt(2)) / (m + sqrt(2)).
    """
    bits = np.float64(y).view(np.int64)
    exponent = (bits >> np.int64(52)) - np.int64(1023)
    m = np.int64((bits & np.int64(0xFFFFFFFFFFFFF)) | np.int64(0x3FF0000000000000)).view(np.float64)
    t = (m - SQRT_2) / (m + SQRT_2)
    q = t * t
    return LN_2 * (exponent + 0.5) + 2.0 * t * (1.0 + q * (1.0 / 3.0 + q * 0.2))


@leaf
def haaland_root(re, rough):
    """1/sqrt(f) of the Darcy factor f, Haaland, J. Fluids Eng. 105 (1983) 89.

    `rough` is (eps / (3.7 D))^1.11.
    """
    return 0.7817240837 * logarithm(re / (rough * re + HAALAND_SMOOTH))  # 1.8 log10


@leaf
def turbulence(re):
    """Share of turbulent friction: 0 below Re = 2300, 1 above 4000."""
    return min(1.0, max(0.0, (re - LAMINAR) / (TURBULENT - LAMINAR)))


@leaf
def growth(x):
    """exp(x) - 1 of a small x > 0 with its first two orders; grows without bound with x."""
    return x * (1.0 + 0.5 * x)


@leaf
def decay(x):
    """exp(-x) of a small x > 0 with its first two orders, and between 0 and 1 for a large one."""
    return 1.0 / (1.0 + growth(x))


@leaf
def stanton_gnielinski(re, inverse_root):
    """Stanton number of turbulent pipe flow, Gnielinski, Int. Chem. Eng. 16 (1976) 359.

    Nu = (f/8) (Re - 1000) Pr / (1 + 12.7 sqrt(f/8) (Pr^(2/3) - 1)), St = Nu / (Re Pr), with
    `inverse_root` = sqrt(f).
    """
    film = 0.3535533905932738 * inverse_root  # sqrt(f/8)
    return film * film * (re - 1000.0) / (re * (1.0 + 12.7 * film * (PRANDTL_POWER - 1.0)))


@kernel
def wall_coefficients(n, r, u, T, diameter, rough, friction, bend, heat_factor, drag, resist,
                      stanton, still):
    """Coefficients of friction and heat transfer at the present state.

    drag     f / (2 D) + K / (2 L) of bends [1/m]; `friction` holds what multiplies the Darcy factor
             f = 1/root^2 above Re 4000, blended into the laminar one below
    resist   laminar friction, f = 64/Re below Re 2300, proportional to the velocity [kg/m3/s]
    stanton  4 St / D of turbulent flow [1/m], times its share as in friction and heat_factor
    still    4 Nu mu / (Pr D^2) [kg/m3/s] with Nu = 3.66 of laminar flow at constant wall
             temperature, also of gas at rest, times the share of laminar flow and heat_factor
    """
    for i in range(np.uintp(n)):
        mu = viscosity(T[i])
        per_d = 1.0 / diameter[i]
        re = r[i] * abs(u[i]) / (mu * per_d)
        fast = max(re, LAMINAR)
        root_f = 1.0 / haaland_root(fast, rough[i])
        turbulent = turbulence(re)
        drag[i] = friction[i] * turbulent * (root_f * root_f) + bend[i]
        resist[i] = friction[i] * (1.0 - turbulent) * 64.0 * mu * per_d
        scale = 4.0 * per_d * heat_factor[i]
        stanton[i] = scale * turbulent * stanton_gnielinski(fast, root_f)
        still[i] = scale * (1.0 - turbulent) * 3.66 / PRANDTL * mu * per_d


@kernel
def apply_walls(n, dt_friction, dt_heat, r, m, e, T, p, c, per_z, wall, drag, resist, stanton,
                still, vol, gained, grip, warmed):
    """Friction and heat of the walls over a step.

    Friction slows the gas, never turns it round, and keeps its energy: -a m |m| is integrated
    exactly, -b m to second order.  Heat approaches the wall temperature and never passes it; the
    heat capacity is taken from the sound speed, cv = R/(gamma-1) with gamma = r c^2 / p.  What the
    wall feels is the recovery temperature T (1 + RECOVERY (gamma - 1)/2 M^2) of the gas that it
    brings to rest, with M = m `per_z`.

    The two steps [s] are the same, 0 for what is left out.  `gained` collects the heat [J] that
    each cell has taken up, `grip` the conductance times time [J/K] that joined it to its wall.
    `warmed` receives half the rise of pressure, for the half step ahead of the next fluxes: they
    then belong to the temperature `T` from which the heat is reckoned.  Friction needs no such
    thing, for it takes the velocities before and after alike.
    """
    for i in range(np.uintp(n)):
        mach = m[i] * per_z[i]
        per_both = 1.0 / (r[i] * p[i])  # divisions cost most here: two for six
        x = dt_friction * p[i] * per_both
        slower = (1.0 + growth(x * resist[i])) * (1.0 + x * drag[i] * abs(m[i]))
        stiff = c[i] * c[i] * r[i] * per_both  # gamma / r
        gm1 = max(0.05, r[i] * stiff - 1.0)
        g = growth(dt_heat * (stanton[i] * abs(m[i]) + still[i]) * stiff)
        per_all = 1.0 / (slower * (1.0 + g) * (T[i] * gm1))
        m[i] *= (1.0 + g) * (T[i] * gm1) * per_all
        held = g * p[i] * slower * per_all
        heat = held * (wall[i] - T[i] * (1.0 + 0.5 * RECOVERY * gm1 * mach * mach))
        e[i] += heat
        gained[i] += heat * vol[i]
        grip[i] += held * vol[i]
        warmed[i] = 0.5 * gm1 * heat
