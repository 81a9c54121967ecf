"""Face values in cells over which the bore changes steeply.

The loops in `cells` take a state as linear across a cell.  In steady flow through a short cone it
is not: from cell to cell the velocity changes by as much as the area, and a jump du between the two
sides of a face costs a stagnation pressure of the order of rho c du, many times the dynamic
pressure of slow flow.  In the cells listed here, what is linear is the distance from steady
isentropic flow instead: the states of a cell and of its neighbours are carried to one area with
mass flow, stagnation enthalpy and entropy kept, and only what is left of their differences is
limited and moves half a step ahead.  The wall bears what that flow needs.  So steady flow without
friction keeps its stagnation pressure on any mesh, and gas at rest stays at rest.

Well-balanced in this sense are the schemes of Greenberg and Leroux, SIAM J. Numer. Anal. 33 (1996)
1, and of those who followed; the arrangement here is our own.
"""

import math

from . import flat as f
from .cells import half_slope, steepness
from .jit import aside, kernel

MAX_ITERATIONS = 30
TOLERANCE = 1e-8  # of Newton's last step: it leaves an error of the order of its square
NEVER_CHOKED = 0.3  # (Mach number times ratio of areas)^2 up to which a cone is too wide to choke


@kernel
def carried(r, u, p, gamma, ratio):
    """Density, velocity and pressure of steady isentropic flow where the area is 1 / `ratio` times.

    With x the ratio of densities, M the Mach number and k the ratio of areas,

        (x^(gamma-1) - 1)/(gamma-1) + M^2/2 ((k/x)^2 - 1) = 0,

    convex in ln x: the greater root is subsonic, the smaller one supersonic flow.  Each is come to
    from outside: from x for gas brought to rest, and from that for gas at its highest speed.  Where
    the area is too small for the flow, what it can pass at Mach one.  A fourth value is 1 if the
    root was not found.
    """
    c2 = gamma * p / r
    mach2 = u * u / c2
    g = gamma - 1.0
    fast = mach2 * ratio * ratio
    log_x = 0.0
    if fast > NEVER_CHOKED or mach2 > 1.0:
        sonic = math.log(fast) / (gamma + 1.0)
        warm = math.exp(g * sonic)
        if (warm - 1.0) / g + 0.5 * (warm - mach2) >= 0.0:
            log_x = math.log((1.0 + 0.5 * g * mach2) / (1.0 + 0.5 * g)) / g
            x = math.exp(log_x)
            warm = math.exp(g * log_x)
            return r * x, math.copysign(math.sqrt(c2 * warm), u), p * x * warm, 0
        log_x = 0.5 * mach2 if mach2 <= 1.0 else 0.5 * math.log(fast / (mach2 + 2.0 / g))
    warm = 1.0
    missed = 1
    for _ in range(MAX_ITERATIONS):
        warm = math.exp(g * log_x)
        speed = fast * math.exp(-2.0 * log_x)
        step = ((warm - 1.0) / g + 0.5 * (speed - mach2)) / (warm - speed)
        log_x -= step
        if abs(step) < TOLERANCE:
            missed = 0
            break
    x = math.exp(log_x)
    return r * x, u * ratio / x, p * x * math.exp(g * log_x), missed


@aside
def taper_rates(listed, u, c, vol, area, rate):
    """Rates that bound the step [1/s], so that no wide end lets out more than the cell holds."""
    for q in range(listed.shape[0]):
        i = listed[q]
        low, high = area[i], area[i + 1]
        bound = abs(u[i]) * max(low, high) + 0.5 * c[i] * (low + high)
        rate[i] = abs(bound) / vol[i]  # a NaN keeps no sign, see `cells.largest`


@aside
def taper_faces(listed, dt, r, u, p, c, inv_dx, vol, area, warmed, rm, um, pm, rp, up, pp, push,
                clock):
    """Face values as `cells.reconstruct` gives them, for the cells `listed`.

    `push` receives the force on the wall [N] that `cells.update_flow`, which takes the mean of the
    two face pressures, leaves out.
    """
    for q in range(listed.shape[0]):
        i = listed[q]
        own = vol[i] * inv_dx[i]
        low, high = area[i], area[i + 1]
        before, behind = vol[i - 1] * inv_dx[i - 1], vol[i + 1] * inv_dx[i + 1]
        if before == 0.0:  # a ghost cell: the bore goes on
            before = low * low / own
        if behind == 0.0:
            behind = high * high / own
        gamma = r[i] * c[i] * c[i] / p[i]
        ra, ua, pa, missed_a = carried(r[i - 1], u[i - 1], p[i - 1], gamma, before / own)
        rb, ub, pb, missed_b = carried(r[i + 1], u[i + 1], p[i + 1], gamma, behind / own)
        z = r[i] * c[i]
        per_c2 = 1.0 / (c[i] * c[i])
        dp0, dp1 = p[i] - pa, pb - p[i]
        zu0, zu1 = z * (u[i] - ua), z * (ub - u[i])
        ds0, ds1 = r[i] - ra - dp0 * per_c2, rb - r[i] - dp1 * per_c2
        back = half_slope(dp0 - zu0, dp1 - zu1, 0.0)
        forth = half_slope(dp0 + zu0, dp1 + zu1, 0.0)
        entropy = half_slope(ds0, ds1, steepness(0.5 * (abs(ds0) + abs(ds1)) / r[i]))
        sp = 0.5 * (back + forth)
        su = 0.5 * (forth - back) / z
        sr = entropy + sp * per_c2
        nu = dt * inv_dx[i]
        hr = -nu * (u[i] * sr + r[i] * su)
        hu = -nu * (u[i] * su + sp / r[i])
        hp = warmed[i] - nu * (u[i] * sp + z * c[i] * su)
        r0, u0, p0, missed_0 = carried(r[i], u[i], p[i], gamma, own / low)
        r1, u1, p1, missed_1 = carried(r[i], u[i], p[i], gamma, own / high)
        if missed_a + missed_b + missed_0 + missed_1 > 0:
            clock[f.UNSOLVED_TAPER] += 1.0
        thinnest, least = min(r0, r1), min(p0, p1)
        flow = (1.0 - 1e-6) * abs(r[i] * u[i]) * own
        choked = r0 * abs(u0) * low < flow or r1 * abs(u1) * high < flow
        keep = 0.0 if choked or min(
            thinnest + hr - abs(sr) - 0.05 * thinnest, least + hp - abs(sp) - 0.05 * least
        ) <= 0.0 else 1.0
        rm[i], rp[i] = r0 + keep * (hr - sr), r1 + keep * (hr + sr)
        um[i], up[i] = u0 + keep * (hu - su), u1 + keep * (hu + su)
        pm[i], pp[i] = p0 + keep * (hp - sp), p1 + keep * (hp + sp)
        thrust = high * (p1 - p[i] + r1 * u1 * u1) - low * (p0 - p[i] + r0 * u0 * u0)
        wall = p[i] + thrust / (high - low)
        wall = min(max(p0, p1, p[i]), max(min(p0, p1, p[i]), wall))
        push[i] = (high - low) * (wall + keep * hp - 0.5 * (pm[i] + pp[i]))


@aside
def push_tapers(listed, dt, inv_vol, push, m):
    """Add the force of the walls that `cells.update_flow` left out."""
    for q in range(listed.shape[0]):
        i = listed[q]
        m[i] += dt * inv_vol[i] * push[i]
