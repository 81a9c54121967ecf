"""Two ducts joined by a sudden change of area, an orifice or a throttle.

Gas leaves the upstream duct U isentropically, is squeezed to a throat area, and mixes in the
downstream duct D under the pressure of the throat on the whole plate (Borda-Carnot, compressible):

    p_t A_D + m y = p_D A_D + m q,     cp T + w^2/2 the same at U, throat and D,

with y the throat and q the downstream velocity.  A plain enlargement has the throat area of U.  The
throat chokes at Mach one.  A contraction has a loss coefficient K instead,

    p0_U - p0_D = K rho_D q^2 / 2,     cp T + w^2/2 the same at U and D,

and chokes at Mach one in D.  The unknown is the velocity v out of U; q and the throat pressure
ratio follow from scalar equations inside.

Supersonic gas that nothing holds back keeps its state in U.  Behind an enlargement it stays
supersonic, spread without loss, if D could not hold a shock there; else D takes its mass and
energy at the pressure of its own wave, as when the throat is choked.
"""

import math

from .ends import power, sonic_outflow, subsonic_mach, wave_pressure
from .jit import kernel

MAX_ITERATIONS = 60
TOLERANCE = 1e-10  # of the last step; what an inner iteration leaves disturbs the outer one
FASTEST = 1.6  # q^2 / (cp T0) that the gas may reach: four fifths of its heat


@kernel
def throat_ratio(v, alpha, T_up, cp, gamma, guess):
    """Throat over face pressure for face velocity `v` and face over throat area `alpha`.

    Returns (ratio, throat velocity, choked, 1 if not converged); the subsonic root of
    v^2 + 2 cp T (1 - t^k) = (v alpha)^2 t^(-2/gamma).
    """
    if alpha <= 1.0:
        return 1.0, v, False, 0
    exponent = (gamma - 1.0) / gamma
    c2 = (gamma - 1.0) * cp * T_up
    tau = guess
    jet = v * alpha
    missed = 1
    for _ in range(MAX_ITERATIONS):
        share = power(tau, exponent)
        jet = v * alpha / power(tau, 1.0 / gamma)
        margin = c2 * share - jet * jet
        if margin <= 0.0:
            return tau, jet, True, 0
        residual = v * v + 2.0 * cp * T_up * (1.0 - share) - jet * jet
        step = 0.5 * gamma * tau * residual / margin
        tau = min(1.0, max(0.3, tau + step))
        if abs(step) < TOLERANCE:
            missed = 0
            break
    return tau, jet, False, missed


@kernel
def speed_behind(r, un, p, gamma, flux, T0, cp, gas_R, guess):
    """Velocity q into a duct that takes the mass flux `flux` at stagnation temperature T0.

    Returns (q, face pressure, slope of it, face temperature, density, 1 if not converged).
    """
    low = 0.0
    high = math.sqrt(FASTEST * cp * T0)
    q = guess if low < guess < high else 0.5 * high
    missed = 1
    for _ in range(MAX_ITERATIONS):
        p_star, slope = wave_pressure(r, p, gamma, un + q)
        T_face = T0 - 0.5 * q * q / cp
        density = p_star / (gas_R * T_face)
        residual = density * q - flux
        if residual > 0.0:
            high = q
        else:
            low = q
        step = residual / (density * (1.0 + q * slope / p_star + q * q / (cp * T_face)))
        q -= step
        if abs(step) < TOLERANCE * (abs(q) + 1e-3):
            missed = 0
            break
        if not (low < q < high):
            q = 0.5 * (low + high)
    p_star, slope = wave_pressure(r, p, gamma, un + q)
    T_face = T0 - 0.5 * q * q / cp
    return q, p_star, slope, T_face, p_star / (gas_R * T_face), missed


@kernel
def after_pair(rU, unU, pU, gamma, cp, gas_R, v, bore, rD, unD, pD, gammaD, q):
    """Faces of both ducts for the velocity `v` out of U; `q` is a guess; 1 if not converged."""
    pU_star, _ = wave_pressure(rU, pU, gamma, unU - v)
    rU_star = rU * power(pU_star / pU, 1.0 / gamma)
    T0 = pU_star / (rU_star * gas_R) + 0.5 * v * v / cp
    q, pD_star, _, _, _, missed = speed_behind(
        rD, unD, pD, gammaD, rU_star * v * bore, T0, cp, gas_R, q
    )
    return v, pU_star, q, pD_star, missed


@kernel
def supersonic_behind(u, p, gamma, mach, bore):
    """Supersonic gas spreads without loss into a wider duct, as in a nozzle.

    Returns (velocity, pressure, pressure behind a shock that stands there, 1 if not converged).
    A momentum balance
    with the pressure p on the whole plate would push the gas beyond its stagnation enthalpy.
    """
    b = 0.5 * (gamma - 1.0)
    power = 0.25 * (gamma + 1.0) / b
    log_mach = max(math.log(mach), 0.5)
    grown = power * math.log1p(b * mach * mach) - math.log(mach) - math.log(bore)
    missed = 1
    for _ in range(MAX_ITERATIONS):
        mach2 = math.exp(2.0 * log_mach)
        off = power * math.log1p(b * mach2) - log_mach - grown
        step = off * (1.0 + b * mach2) / (mach2 - 1.0)
        log_mach -= step
        if abs(step) < TOLERANCE:
            missed = 0
            break
    mach2 = math.exp(2.0 * log_mach)
    cooling = (1.0 + b * mach * mach) / (1.0 + b * mach2)
    q = u * math.sqrt(mach2 * cooling) / mach
    p_fast = p * math.exp(0.5 * gamma / b * math.log(cooling))
    p_shock = p_fast * (2.0 * gamma * mach2 - 2.0 * b) / (gamma + 1.0)
    return q, p_fast, p_shock, missed


@kernel
def pair(rU, unU, pU, gamma, cp, gas_R, area_U, rD, unD, pD, gammaD, area_D, throat, guess):
    """Velocity v out of U, its face pressure, velocity q into D and its face pressure.

    The last value is 1 if an iteration ended without converging.

    Called with the side of the higher wall pressure as U, so that v >= 0.
    """
    exponent = (gamma - 1.0) / gamma
    alpha = area_U / throat if throat < area_U * (1.0 - 1e-9) else 1.0
    c = math.sqrt(gamma * pU / rU)
    bore = area_U / area_D
    if unU > c and alpha <= 1.0:
        _, _, q, pD_star, missed = after_pair(
            rU, unU, pU, gamma, cp, gas_R, unU, bore, rD, unD, pD, gammaD, unU * bore
        )
        mach = unU / c
        if pD_star * (gamma + 1.0) < pU * (2.0 * gamma * mach * mach - (gamma - 1.0)):
            fast, p_fast, p_shock, over = supersonic_behind(unU, pU, gamma, mach, bore)
            if pD_star < p_shock:
                return unU, pU, fast, p_fast, over
            return unU, pU, q, pD_star, missed + over
    low = 0.0
    high = 1.5 * c
    v = guess
    if not 0.0 < guess < high:
        z = c * rU
        zD = math.sqrt(gammaD * pD * rD)
        v = min(max((pU - pD + z * unU - zD * unD) / (z + zD * bore), 0.0), 0.3 * c)
    q = v * bore
    tau = max(0.6, 1.0 - 0.5 * rU / pU * v * v * (alpha * alpha - 1.0))  # of a thin gas
    choked = False
    missed = 1
    off = 0
    pU_star = pU
    pD_star = pD
    for _ in range(MAX_ITERATIONS):
        pU_star, slope = wave_pressure(rU, pU, gamma, unU - v)
        rU_star = rU * power(pU_star / pU, 1.0 / gamma)
        T_up = pU_star / (rU_star * gas_R)
        tau, jet, over, off = throat_ratio(v, alpha, T_up, cp, gamma, tau)
        if over or v * v > gamma * gas_R * T_up:
            choked = True
            high = v
            v = 0.5 * (low + high)
            tau = 1.0
            if high - low < TOLERANCE * c:
                missed = 0
                break
            continue
        flux = rU_star * v * bore
        T0 = T_up + 0.5 * v * v / cp
        q, pD_star, slopeD, T_face, rD_star, _ = speed_behind(
            rD, unD, pD, gammaD, flux, T0, cp, gas_R, q
        )
        residual = tau * pU_star + flux * (jet - q) - pD_star
        if residual > 0.0:
            low = v
        else:
            high = v
            choked = False
        T_slope = -T_up * exponent * slope / pU_star
        flux_slope = bore * rU_star * (1.0 - v * slope / (gamma * pU_star))
        q_slope = (flux_slope + rD_star * q / T_face * (T_slope + v / cp)) / (
            rD_star * (1.0 + q * slopeD / pD_star + q * q / (cp * T_face))
        )
        tau_slope = 0.0
        jet_slope = 1.0
        if alpha > 1.0:
            share = 1.0 - jet * jet / (2.0 * cp * T_up) + v * v / (2.0 * cp * T_up)  # tau^exponent
            ratio = jet / max(v, 1e-12)
            bend = 2.0 * v + 2.0 * cp * T_slope * (1.0 - share) - 2.0 * v * ratio * ratio
            tau_slope = 0.5 * gamma * tau * bend / ((gamma - 1.0) * cp * T_up * share - jet * jet)
            jet_slope = ratio * (1.0 - v * tau_slope / (gamma * tau))
        derivative = (
            tau_slope * pU_star
            - tau * slope
            + flux_slope * (jet - q)
            + flux * (jet_slope - q_slope)
            - slopeD * q_slope
        )
        step = residual / derivative
        q -= q_slope * step  # where the inner iteration starts next
        if abs(step) < TOLERANCE * (v + 1e-3 * c):
            v = max(0.0, v - step)
            choked = False
            missed = off
            break
        v -= step
        if not (low < v < high):
            v = 0.5 * (low + high)
    if choked:
        mach, off = subsonic_mach(1.0 / alpha, gamma)
        v, pU_star, over_sonic = sonic_outflow(rU, unU, pU, gamma, mach)
        missed += off + over_sonic
        if alpha <= 1.0 and unD < -math.sqrt(gammaD * pD / rD):  # nothing runs back to the step
            q, pD_star, _, off = supersonic_behind(v, pU_star, gamma, 1.0, bore)
            return v, pU_star, q, pD_star, missed + off
    v, pU_star, q, pD_star, off = after_pair(
        rU, unU, pU, gamma, cp, gas_R, v, bore, rD, unD, pD, gammaD, q
    )
    return v, pU_star, q, pD_star, missed + off


@kernel
def pair_loss(rU, unU, pU, gamma, cp, gas_R, area_U, rD, unD, pD, gammaD, area_D, loss, guess):
    """The same for a contraction whose loss coefficient is given."""
    exponent = gamma / (gamma - 1.0)
    bore = area_U / area_D
    c = math.sqrt(gamma * pU / rU)
    low = 0.0
    high = 1.5 * c
    v = guess if 0.0 < guess < high else 0.0
    q = v * bore
    missed = 1
    pU_star = pU
    pD_star = pD
    for _ in range(MAX_ITERATIONS):
        pU_star, slope = wave_pressure(rU, pU, gamma, unU - v)
        rU_star = rU * power(pU_star / pU, 1.0 / gamma)
        T_up = pU_star / (rU_star * gas_R)
        T0 = T_up + 0.5 * v * v / cp
        flux = rU_star * v * bore
        q, pD_star, slopeD, T_face, rD_star, _ = speed_behind(
            rD, unD, pD, gammaD, flux, T0, cp, gas_R, q
        )
        if q * q > gamma * gas_R * T_face:
            high = v
            v = 0.5 * (low + high)
            if high - low < TOLERANCE * c:
                missed = 0
                break
            continue
        stagnant_U = pU_star * math.exp(exponent * math.log(T0 / T_up))
        stagnant_D = pD_star * math.exp(exponent * math.log(T0 / T_face))
        residual = stagnant_U - stagnant_D - 0.5 * loss * flux * q
        if residual > 0.0:
            low = v
        else:
            high = v
        T0_slope = v / cp - T_up * slope / (exponent * pU_star)
        flux_slope = bore * rU_star * (1.0 - v * slope / (gamma * pU_star))
        q_slope = (flux_slope + rD_star * q / T_face * T0_slope) / (
            rD_star * (1.0 + q * slopeD / pD_star + q * q / (cp * T_face))
        )
        rise_U = exponent * T0_slope / T0
        rise_D = rise_U + slopeD * q_slope / pD_star - exponent * (T0_slope - q * q_slope / cp) / (
            T_face
        )
        derivative = (
            stagnant_U * rise_U
            - stagnant_D * rise_D
            - 0.5 * loss * (flux_slope * q + flux * q_slope)
        )
        step = residual / derivative
        q -= q_slope * step  # where the inner iteration starts next
        if abs(step) < TOLERANCE * (v + 1e-3 * c):
            v = max(0.0, v - step)
            missed = 0
            break
        v -= step
        if not (low < v < high):
            v = 0.5 * (low + high)
    v, pU_star, q, pD_star, off = after_pair(
        rU, unU, pU, gamma, cp, gas_R, v, bore, rD, unD, pD, gammaD, q
    )
    return v, pU_star, q, pD_star, missed + off
