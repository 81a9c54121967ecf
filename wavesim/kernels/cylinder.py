"""Relations of one cylinder: piston position, heat release, heat to the walls.

Angles are degrees of crank rotation; a cylinder's own angle is 0 at firing top dead centre.
"""

import math

from . import flat as f
from .constants import WIEBE_A
from .jit import entry

POLYTROPIC = 1.33  # exponent of the motored pressure inside Woschni's combustion term


@entry
def volume(cyl, theta_deg):
    """Gas volume above the piston [m3]; slider-crank with pin offset, Heywood (1988) sec. 2.2."""
    angle = math.radians(theta_deg - cyl[f.PHASE])
    crank = 0.5 * cyl[f.STROKE]
    side = crank * math.sin(angle) - cyl[f.PIN]
    height = crank * math.cos(angle) + math.sqrt(cyl[f.ROD] * cyl[f.ROD] - side * side)
    top = math.sqrt((cyl[f.ROD] + crank) ** 2 - cyl[f.PIN] ** 2)
    return cyl[f.CLEARANCE] + 0.25 * math.pi * cyl[f.BORE] ** 2 * (top - height)


@entry
def wiebe(y, m):
    """Burned fraction at the share `y` of the burn duration, normalised to 1 at y = 1.

    Wiebe (1962), as in Heywood (1988) eq. 9.27 with a = 6.908.
    """
    if y <= 0.0:
        return 0.0
    if y >= 1.0:
        return 1.0
    return (1.0 - math.exp(-WIEBE_A * y ** (m + 1.0))) / (1.0 - math.exp(-WIEBE_A))


@entry
def heat_release(cyl, before, after):
    """Share of the charge that burns while the cylinder's own angle goes from before to after."""
    start = before - cyl[f.SOC]
    start -= 720.0 * math.floor(start / 720.0)
    stop = start + (after - before)
    if stop >= 720.0:  # the spark falls into this step
        return wiebe((stop - 720.0) / cyl[f.DURATION], cyl[f.WIEBE_M])
    if start >= cyl[f.DURATION]:
        return 0.0
    return wiebe(stop / cyl[f.DURATION], cyl[f.WIEBE_M]) - wiebe(
        start / cyl[f.DURATION], cyl[f.WIEBE_M]
    )


@entry
def wall_loss(cyl, own, now, angle, omega_deg):
    """Heat flow to head, piston and liner [W]; Woschni, SAE 670931 (1967), in Heywood eq. 12.19.

    h = 3.26 B^-0.2 p^0.8 T^-0.55 w^0.8 (p in kPa), w = C1 Sp + C2 Vd T_r/(p_r V_r) (p - p_mot),
    C1 = 6.18 with a valve open and 2.28 otherwise, C2 = 3.24e-3 from spark to exhaust opening.
    """
    angle -= 720.0 * math.floor(angle / 720.0)
    speed = cyl[f.STROKE] * omega_deg / 180.0  # mean piston speed: 2 strokes a turn
    p = now[f.NP]
    T = now[f.NT]
    closed = angle < cyl[f.EVO] or angle > cyl[f.IVC]
    w = (2.28 if closed else 6.18) * speed
    since_spark = angle - cyl[f.SOC]
    since_spark -= 720.0 * math.floor(since_spark / 720.0)
    if closed and since_spark < cyl[f.EVO] - cyl[f.SOC]:
        area = 0.25 * math.pi * cyl[f.BORE] ** 2
        motored = own[f.P_IVC] * (own[f.V_IVC] / now[f.NVOL]) ** POLYTROPIC
        w += 3.24e-3 * area * cyl[f.STROKE] * own[f.T_IVC] / (own[f.P_IVC] * own[f.V_IVC]) * max(
            0.0, p - motored
        )
    powers = 0.8 * math.log(1e-3 * p * w) - 0.55 * math.log(T) - 0.2 * math.log(cyl[f.BORE])
    h = cyl[f.HEAT_MODEL_FACTOR] * 3.26 * math.exp(powers)
    liner = 4.0 * max(0.0, now[f.NVOL] - cyl[f.CLEARANCE]) / cyl[f.BORE]
    return h * (
        cyl[f.HEAD_AREA] * (T - cyl[f.T_HEAD])
        + cyl[f.PISTON_AREA] * (T - cyl[f.T_PISTON])
        + liner * (T - cyl[f.T_LINER])
    )
