"""What a duct end does: relations between the outgoing wave and the world beyond the end.

All relations look outward from the duct: `un` is the velocity out of the duct just inside the end,
v the velocity through the end face.  The wave that the end sends back into the duct joins the inner
state I to the face state.  Its pressure is a function of the velocity change alone,

    p*(v) = p + d/2 (rho a d + sqrt((rho a d)^2 + 4 rho gamma p)),   d = un - v, a = (gamma+1)/2,

which is the shock relation (Courant and Friedrichs 1948, ch. III) used for rarefactions too, where
it agrees with the isentropic one to third order of the wave's strength (0.2 % at p*/p = 0.5).  Gas
that leaves a duct keeps the entropy of state I; gas that enters brings its own stagnation enthalpy.
Any interior scheme can use these functions: they see one state and know no cells.
"""

import math

from .jit import kernel, leaf

# Direction and regime of a port; UNSOLVED if the iteration ended without converging.
INFLOW, OUTFLOW, CHOKED_IN, CHOKED_OUT, SUPERSONIC, UNSOLVED = range(6)
TOLERANCE = 3e-8  # of Newton's last step: it leaves an error of the order of its square
MAX_ITERATIONS = 40
BLOWDOWN = 2.5  # pressure ratio from which a throat is tried as choked first
MOVING = 0.1  # [m/s] velocity from which the last step is a good guess; below, it would keep noise


@leaf
def wave_pressure(r, p, gamma, d):
    """Pressure behind a wave that changes the velocity by `d` against its direction, and slope."""
    ra = 0.5 * (gamma + 1.0) * r
    q = ra * d
    root = math.sqrt(q * q + 4.0 * r * gamma * p)
    p_star = p + 0.5 * d * (q + root)
    slope = q + 0.5 * root + 0.5 * q * q / root
    if p_star < 1e-3 * p:  # beyond the strongest rarefaction: hold a positive floor
        return 1e-3 * p, 1e-6 * slope
    return p_star, slope


@leaf
def wave_velocity(r, p, gamma, p_star):
    """Velocity change across a wave to the pressure `p_star`: the inverse of `wave_pressure`."""
    a = 0.5 * (gamma + 1.0)
    b = 0.5 * (gamma - 1.0)
    return (p_star - p) / math.sqrt(r * (a * p_star + b * p))


@kernel
def power(x, a):
    """x**a for 0 < a < 1; near x = 1, where most waves lie, by a series good to 1e-14, quicker."""
    d = x - 1.0
    if abs(d) < 0.01:
        return 1.0 + a * d * (1.0 + (a - 1.0) / 2.0 * d * (1.0 + (a - 2.0) / 3.0 * d * (
            1.0 + (a - 3.0) / 4.0 * d * (1.0 + (a - 4.0) / 5.0 * d))))
    return math.exp(a * math.log(x))


@leaf
def isentropic_density(r, p, gamma, p_star):
    """Density after an isentropic change from (r, p) to `p_star`."""
    return r * power(p_star / p, 1.0 / gamma)


@leaf
def leaving_density(r, p, gamma, p_star):
    """Density of gas behind the wave that an end sends back: isentropic, or behind a shock.

    Both agree to third order of the wave's strength; strong shocks heat the gas instead of
    packing it (Rankine-Hugoniot).
    """
    if p_star <= p:
        return isentropic_density(r, p, gamma, p_star)
    a = gamma + 1.0
    b = gamma - 1.0
    return r * (a * p_star + b * p) / (b * p_star + a * p)


@leaf
def end_closed(r, un, p, gamma):
    """Pressure at a rigid wall."""
    p_star, _ = wave_pressure(r, p, gamma, un)
    return p_star


@kernel
def end_anechoic(r, un, p, gamma, r_out, p_out, gamma_out):
    """Face velocity and pressure between the duct and gas at rest in an endless equal duct.

    The last value is 1 if the iteration ended without converging, as in all functions here.
    """
    z = math.sqrt(gamma * p * r)
    z_out = math.sqrt(gamma_out * p_out * r_out)
    v = (p - p_out + z * un) / (z + z_out)
    p_star = p
    missed = 1
    for _ in range(MAX_ITERATIONS):
        p_star, slope = wave_pressure(r, p, gamma, un - v)
        p_back, slope_back = wave_pressure(r_out, p_out, gamma_out, v)
        step = (p_star - p_back) / (slope + slope_back)
        v += step
        if abs(step) < TOLERANCE * (abs(v) + 1e-3):
            missed = 0
            break
    p_star, _ = wave_pressure(r, p, gamma, un - v)
    return v, p_star, missed


@kernel
def port_out_open(r, un, p, gamma, p_out, kappa, v_rad):
    """Outflow through the full bore to the pressure p_out + kappa (v - v_rad)."""
    if kappa == 0.0:
        return un - wave_velocity(r, p, gamma, p_out), p_out, 0
    z = math.sqrt(gamma * p * r)
    v = (p - p_out + z * un + kappa * v_rad) / (z + kappa)
    missed = 1
    for _ in range(MAX_ITERATIONS):
        p_star, slope = wave_pressure(r, p, gamma, un - v)
        step = (p_star - p_out - kappa * (v - v_rad)) / (slope + kappa)
        v += step
        if abs(step) < TOLERANCE * (abs(v) + 1e-3):
            missed = 0
            break
    p_star, _ = wave_pressure(r, p, gamma, un - v)
    return v, p_star, missed


@kernel
def subsonic_mach(phi, gamma):
    """Mach number before a throat that is choked and takes the share `phi` of the bore."""
    if phi >= 1.0:
        return 1.0, 0
    delta = 0.5 * (gamma - 1.0)
    n = 0.5 * (gamma + 1.0) / (gamma - 1.0)
    critical = phi * math.exp(-n * math.log(1.0 + delta))
    low = 0.0
    high = 1.0
    mach = min(0.999, critical * (1.0 + delta * critical * critical))
    missed = 1
    for _ in range(MAX_ITERATIONS):
        base = 1.0 + delta * mach * mach
        narrow = math.exp(-n * math.log(base))
        residual = mach * narrow - critical
        if residual > 0.0:
            high = mach
        else:
            low = mach
        step = residual * base / (narrow * (1.0 - mach * mach) + 1e-300)
        mach -= step
        if abs(step) < TOLERANCE * mach:
            missed = 0
            break
        if not (low < mach < high):
            mach = 0.5 * (low + high)
    return mach, missed


@kernel
def sonic_outflow(r, un, p, gamma, mach):
    """Face velocity and pressure where the outflow has a given Mach number, entropy kept."""
    c = math.sqrt(gamma * p / r)
    half = 0.5 * (gamma - 1.0) / gamma
    # simple-wave value as a start: u + 2c/(gamma-1) is constant
    v = mach * c * (un / c + 2.0 / (gamma - 1.0)) / (mach + 2.0 / (gamma - 1.0))
    p_star = p
    missed = 1
    for _ in range(MAX_ITERATIONS):
        p_star, slope = wave_pressure(r, p, gamma, un - v)
        c_star = c * math.exp(half * math.log(p_star / p))
        residual = v - mach * c_star
        step = residual / (1.0 + mach * c_star * half * slope / p_star)
        v -= step
        if abs(step) < TOLERANCE * c:
            missed = 0
            break
    p_star, _ = wave_pressure(r, p, gamma, un - v)
    return v, p_star, missed


@kernel
def port_out(r, un, p, gamma, cp, gas_R, p_out, phi, kappa, v_rad, guess):
    """Outflow from a duct through a throat of the share `phi` of its bore into a store.

    Isentropic from the duct to the throat, whose static pressure is that of the store unless the
    flow chokes.  `guess` is the velocity of the last step.  Returns (v, p*, regime).
    """
    c = math.sqrt(gamma * p / r)
    if un >= c and phi >= 1.0:
        mach = un / c
        behind_shock = p * (2.0 * gamma * mach * mach - (gamma - 1.0)) / (gamma + 1.0)
        if p_out < behind_shock:
            return un, p, SUPERSONIC
    if phi >= 1.0:
        v, p_star, missed = port_out_open(r, un, p, gamma, p_out, kappa, v_rad)
        if v <= c * power(p_star / p, 0.5 * (gamma - 1.0) / gamma):
            return v, p_star, UNSOLVED if missed else OUTFLOW
        v, p_star, missed = sonic_outflow(r, un, p, gamma, 1.0)
        return v, p_star, UNSOLVED if missed else CHOKED_OUT
    return port_out_throat(r, un, p, gamma, cp, gas_R, p_out, phi, guess)


@kernel
def port_out_throat(r, un, p, gamma, cp, gas_R, p_out, phi, guess):
    """Outflow through a throat narrower than the bore.

    The unknown is v.  With T* and rho* on the isentrope of state I, energy between face and throat
    asks  cp (T*(v) - T_t) = v^2/2 ((rho*/(phi rho_t))^2 - 1), smooth through v = 0.
    """
    exponent = (gamma - 1.0) / gamma
    T = p / (r * gas_R)
    T_throat = T * math.exp(exponent * math.log(p_out / p))
    low = 0.0
    high = un - wave_velocity(r, p, gamma, p_out)  # the velocity without a throat
    v = guess if MOVING < guess < high else phi * high
    p_star = p
    blow = 1.0  # throat velocity over face velocity
    missed = 1
    for _ in range(MAX_ITERATIONS):
        p_star, slope = wave_pressure(r, p, gamma, un - v)
        x = math.log(p_star / p_out)
        T_star = T_throat * math.exp(exponent * x)
        blow = math.exp(x / gamma) / phi
        residual = cp * (T_star - T_throat) - 0.5 * v * v * (blow * blow - 1.0)
        if residual > 0.0:
            low = v
        else:
            high = v
        relative = slope / p_star
        derivative = (
            -cp * T_star * exponent * relative
            - v * (blow * blow - 1.0)
            + v * v * blow * blow * relative / gamma
        )
        step = residual / derivative
        if abs(step) < TOLERANCE * (abs(v) + 1e-3):
            v -= step
            missed = 0
            break
        v -= step
        if not (low < v < high):
            v = 0.5 * (low + high)
    p_star, _ = wave_pressure(r, p, gamma, un - v)
    throat = v * blow
    if throat * throat <= gamma * gas_R * T_throat:
        return v, p_star, UNSOLVED if missed else OUTFLOW
    mach, missed = subsonic_mach(phi, gamma)
    v, p_star, over = sonic_outflow(r, un, p, gamma, mach)
    return v, p_star, UNSOLVED if missed + over else CHOKED_OUT


@kernel
def port_in(r, un, p, gamma, p0, T0, gamma0, cp0, R0, phi, kappa, v_rad, guess):
    """Inflow from a store at rest (p0, T0) through a throat of the share `phi` of the bore.

    Isentropic to the throat, whose static pressure is that of the duct face (Benson 1982, the
    constant-pressure valve model); the stagnation enthalpy is kept.  The unknown is the inflow
    velocity q, `guess` that of the last step.  Returns (v = -q, p*, T*, regime).
    """
    exponent = (gamma0 - 1.0) / gamma0
    cap = math.sqrt(2.0 * gamma0 * R0 * T0 / (gamma0 + 1.0))  # sonic in the pipe
    heat = cp0 * T0
    low = 0.0
    high = wave_velocity(r, p, gamma, p0 - kappa * v_rad) - un
    if high <= 0.0:
        p_star, _ = wave_pressure(r, p, gamma, un)
        return 0.0, p_star, T0, INFLOW
    high = min(high, 1.2 * cap)
    if p0 > BLOWDOWN * p:
        choked = port_in_choked(r, un, p, gamma, p0, T0, gamma0, cp0, R0, phi, cap, guess)
        if choked[1] < p0 * math.exp(math.log(2.0 / (gamma0 + 1.0)) / exponent):
            return choked
    q = guess if MOVING < guess < high else min(phi * high, 0.5 * cap)
    p_star = p
    T_throat = T0
    missed = 1
    for _ in range(MAX_ITERATIONS):
        p_star, slope = wave_pressure(r, p, gamma, un + q)
        p_up = p0 - kappa * (q + v_rad)
        share = power(p_star / p_up, exponent)
        T_throat = T0 * share
        T_face = T0 - 0.5 * q * q / cp0
        jet = q * T_throat / (phi * T_face)
        residual = heat * (1.0 - share) - 0.5 * jet * jet
        if residual > 0.0:
            low = q
        else:
            high = q
        pull = exponent * (slope / p_star + kappa / p_up)
        derivative = -heat * share * pull - jet * jet * (
            1.0 / max(q, 1e-9) + pull + q / (cp0 * T_face)
        )
        step = residual / derivative
        if abs(step) < TOLERANCE * (q + 1e-3):
            q -= step
            missed = 0
            break
        q -= step
        if not (low < q < high):
            q = 0.5 * (low + high)
    if T_throat * (gamma0 + 1.0) >= 2.0 * T0:
        p_star, _ = wave_pressure(r, p, gamma, un + q)
        return -q, p_star, T0 - 0.5 * q * q / cp0, UNSOLVED if missed else INFLOW
    return port_in_choked(r, un, p, gamma, p0, T0, gamma0, cp0, R0, phi, cap, guess)


@kernel
def choked_flux(p0, T0, gamma, gas_R):
    """Mass flux through a sonic throat [kg/s/m2]; Shapiro (1953), ch. 4."""
    n = 0.5 * (gamma + 1.0) / (gamma - 1.0)
    ratio = math.exp(n * math.log(2.0 / (gamma + 1.0)))
    return p0 * math.sqrt(gamma / (gas_R * T0)) * ratio


@kernel
def port_in_choked(r, un, p, gamma, p0, T0, gamma0, cp0, R0, phi, cap, guess):
    """Inflow through a sonic throat: the mass flow is given, the face state follows from it.

    The velocity in the pipe is capped at the sonic one; beyond it the sonic solution holds.
    """
    flux = phi * choked_flux(p0, T0, gamma0, R0)
    low = 0.0
    high = cap
    q = guess if MOVING < guess < cap else min(0.9 * cap, flux * R0 * T0 / p)
    missed = 1
    for _ in range(MAX_ITERATIONS):
        p_star, slope = wave_pressure(r, p, gamma, un + q)
        T_face = T0 - 0.5 * q * q / cp0
        density = p_star / (R0 * T_face)
        residual = density * q - flux
        if residual > 0.0:
            high = q
        else:
            low = q
        derivative = density * (1.0 + q * slope / p_star + q * q / (cp0 * T_face))
        step = residual / derivative
        if abs(step) < TOLERANCE * (q + 1e-3):
            q -= step
            missed = 0
            break
        q -= step
        if not (low < q < high):
            q = 0.5 * (low + high)
    T_face = T0 - 0.5 * q * q / cp0
    if missed and high < cap:
        return -q, flux * R0 * T_face / q, T_face, UNSOLVED
    return -q, flux * R0 * T_face / q, T_face, CHOKED_IN
