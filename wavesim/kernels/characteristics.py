r"""The method of characteristics on the cell grid: the second scheme, for a perfect gas.

The mesh method of Benson, Garg and Woollatt, Int. J. Mech. Sci. 6 (1964) 117, with entropy as in
Benson, The Thermodynamics and Gas Dynamics of Internal Combustion Engines I (1982); both from
memory, the relations derived anew from the equations in `cells`.  The variables are

    lambda = a + g u,   beta = a - g u,   g = (gamma - 1)/2,
    a_A = a (p / p_ref)^(-g/gamma)         entropy level: the sound speed after an isentropic
                                           change to p_ref

with a the sound speed, and along the two characteristics and the path line

    dx/dt = u + a:   d lambda = (a/a_A) d a_A + g (-a u dlnA/dx + 2 g (q + F u)/a - F) dt
    dx/dt = u - a:   d beta   = (a/a_A) d a_A + g (-a u dlnA/dx + 2 g (q + F u)/a + F) dt
    dx/dt = u:       d a_A    = a_A g (q + F u)/a^2 dt,   mass fractions constant

where A is the area, F the friction [m/s2] and q the heat from the wall [W/kg].  Grid values stand
at the cell centres, as `State.U` has them; the faces at duct ends are grid points too.  Every step
carries each variable along its line from the foot to the grid point P:

    t + dt    ----------- P -----------          ----- P ------
                        / : \                          :  \
                      /   :  \                         :    \ ..* face, t + dt/2
                    /     :   \                        : ..x''  |
    t         ----x-------o----x-------          ------o'       |
             i-1        i      i+1                     i       face

The foot x lies between two known values, between which all is linear.  With nu = w dt/dx, w the
slope of the line at the grid point i or its neighbour j, it lies at the share s of the way to j,

    s = nu_i / (1 + nu_i - nu_j)     between centres (the slope itself is linear as well);
    s = 2 nu / (1 + nu)              from the end of a duct: on the slant to the face at t + dt/2;
    s = (1 - nu) / (1 + nu)          for a line that runs from inside to the face at t + dt/2: on
                                     the slant from the centre at t to the face at t - dt/2.

So faces live half a step from the centres in time, as nodes and stores do, and no foot is
extrapolated while nu is at most one.

The order is 1 in space and time.  Nothing is conserved by construction.  Where lines run together
into a shock the entropy does not rise and the jump moves at a speed of its own, whatever the mesh:
mass and energy go wrong there, and the audit shows by how much.
"""

import math

from . import flat as f
from .cells import RECOVERY
from .jit import entry, kernel, leaf, stage
from .nodes import ICP, IGAMMA, IGAS, IP, IR, IT, IU, IYB, IYF
from .step import GO_ON, close_step, open_step, solve_ends_ahead

P_REF = 1e5
# Rows of Work.Q in this scheme: the variables, a/a_A, and the rates of the sources.
LAMBDA, BETA, LEVEL, RATIO, LAMBDA_RATE, BETA_RATE, LEVEL_RATE = range(7)
TO_RATE = LAMBDA_RATE - LAMBDA  # from the row of a variable to that of its rate


@leaf
def share_inside(nu_i, nu_j):
    """Share of the way from a centre to its neighbour at which the line's foot lies.

    `nu_i` and `nu_j` are the Courant numbers of the line at both, positive towards the centre.
    """
    return min(1.0, max(0.0, nu_i / (1.0 + nu_i - nu_j)))


@leaf
def share_from_face(nu_i, nu_j):
    """The same on the slant from a centre at t to a face at t + dt/2."""
    nu = min(1.0, max(0.0, nu_i))
    s = 2.0 * nu / (1.0 + nu)
    nu = min(1.0, max(0.0, nu_i + s * (nu_j - nu_i)))
    return 2.0 * nu / (1.0 + nu)


@leaf
def share_to_face(nu_i, nu_j):
    """Share of the way from a centre at t to its face at t - dt/2 for a line to the face.

    A line that does not come from inside starts at the face.
    """
    nu = min(1.0, max(0.0, 0.5 * (nu_i + nu_j)))
    return (1.0 - nu) / (1.0 + nu)


@leaf
def between(s, y_i, y_j):
    """Linear interpolation."""
    return y_i + s * (y_j - y_i)


@leaf
def mixed(s, level_i, level_j, yf_i, yf_j, yb_i, yb_j):
    """Entropy level and mass fractions between two places.

    What is interpolated are the masses at the reference pressure: so a contact between hot and
    cold gas, which the interpolation smears, keeps its mass where pressure and velocity are even.
    """
    m_i = (1.0 - s) / (level_i * level_i)
    m_j = s / (level_j * level_j)
    m = m_i + m_j
    return 1.0 / math.sqrt(m), (m_i * yf_i + m_j * yf_j) / m, (m_i * yb_i + m_j * yb_j) / m


@leaf
def carry(s, dt, own_i, own_j, level_i, level_j, ratio_i, ratio_j, rate_i, rate_j, level_new):
    """Riemann variable at the end of its line; a/a_A and the source are means over the line."""
    change = level_new - between(s, level_i, level_j)
    ratio = between(0.5 * s, ratio_i, ratio_j)
    return between(s, own_i, own_j) + ratio * change + dt * between(0.5 * s, rate_i, rate_j)


@leaf
def pressure_of(ratio, gamma):
    """Pressure of gas whose sound speed is `ratio` times its entropy level."""
    return P_REF * math.exp(2.0 * gamma / (gamma - 1.0) * math.log(ratio))


@leaf
def ratio_of(p, gamma):
    """Sound speed over entropy level at the pressure `p`."""
    return math.exp(0.5 * (gamma - 1.0) / gamma * math.log(p / P_REF))


@stage
def ratio_of_heats(net):
    """Ratio of heat capacities of the perfect gas."""
    return 1.0 + net.gas_R[0] / (net.gas_coef[0, 1] * 1e-3)


@kernel
def variables(n, gamma, u, p, c, lam, bet, level, ratio):
    """Riemann variables, entropy level and a/a_A of all cells."""
    g = 0.5 * (gamma - 1.0)
    for i in range(n):
        lam[i] = c[i] + g * u[i]
        bet[i] = c[i] - g * u[i]
        ratio[i] = ratio_of(p[i], gamma)
        level[i] = c[i] / ratio[i]


@kernel
def sources(n, dt, gamma, cp, friction_on, heat_on, r, u, c, T, dlnA, drag, slow, wall, stanton,
            still, vol, lam_rate, bet_rate, level_rate, gained, grip):
    """Rates of change along the lines by area change, friction and wall heat.

    Friction and heat are taken implicitly, so that they never turn the gas round nor pass the
    wall temperature.  `gained` and `grip` as in `cells.apply_walls`.
    """
    g = 0.5 * (gamma - 1.0)
    for i in range(n):
        slowing = friction_on * (drag[i] * abs(u[i]) + slow[i] / r[i])
        force = slowing * u[i] / (1.0 + dt * slowing)
        rate = heat_on * cp * (stanton[i] * abs(u[i]) + still[i] / r[i])
        held = rate / (1.0 + dt * rate * gamma / cp)
        q = held * (wall[i] - T[i] - 0.5 * RECOVERY * u[i] * u[i] / cp)  # see `cells.apply_walls`
        mass = dt * r[i] * vol[i]
        gained[i] += q * mass
        grip[i] += held * mass
        given = (q + force * u[i]) / c[i]
        common = g * (2.0 * g * given - c[i] * u[i] * dlnA[i])
        lam_rate[i] = common - g * force
        bet_rate[i] = common + g * force
        level_rate[i] = g * given / c[i]


@stage
def feet_at_ends(net, state, work, inner, dt, gamma, gas_R):
    """Inner states of all ends, half a step ahead.

    What runs outward comes from inside; what runs inward stays as it was at the face, so that the
    node finds a small change only and its wave relation is the isentropic one.
    """
    g = 0.5 * (gamma - 1.0)
    Q = work.Q
    for k in range(net.end_int.shape[0]):
        i = net.end_int[k, f.END_CELL]
        sign = net.end_par[k, f.SIGN]
        out, back = (LAMBDA, BETA) if sign > 0.0 else (BETA, LAMBDA)
        face = state.end[k]
        un = sign * work.W[f.U, i]
        un_f = sign * face[f.ES_U]
        c = work.W[f.C, i]
        c_f = math.sqrt(gamma * face[f.ES_P] / face[f.ES_R])
        ratio = Q[RATIO, i]
        ratio_f = ratio_of(face[f.ES_P], gamma)
        level = Q[LEVEL, i]
        level_f = c_f / ratio_f
        nu = dt * net.cells[f.INV_DX, i]
        s = share_to_face(nu * un, nu * un_f)
        rate = Q[LEVEL_RATE, i]
        now, fresh, burned = mixed(
            s, level, level_f, work.W[f.YF, i], face[f.ES_YF], work.W[f.YB, i], face[f.ES_YB]
        )
        now *= 1.0 + 0.5 * dt * (1.0 + s) * rate
        inner[k, IYF] = fresh
        inner[k, IYB] = burned
        s = share_to_face(nu * (un + c), nu * (un_f + c_f))
        rate = Q[out + TO_RATE, i]
        L = carry(s, 0.5 * dt * (1.0 + s), Q[out, i], c_f + g * un_f, level, level_f, ratio,
                  ratio_f, rate, rate, now)
        s = share_to_face(nu * (un - c), nu * (un_f - c_f))
        rate = Q[back + TO_RATE, i]
        B = carry(s, 0.5 * dt * (1.0 + s), Q[back, i], c_f - g * un_f, level, level_f, ratio,
                  ratio_f, rate, rate, now)
        if un < c:  # a wave that reaches a sonic face does not carry it beyond Mach one
            B = max(B, L * (1.0 - g) / (1.0 + g))
        a = 0.5 * (L + B)
        p = pressure_of(a / now, gamma)
        inner[k, IR] = gamma * p / (a * a)
        inner[k, IU] = 0.5 * (L - B) / g
        inner[k, IP] = p
        inner[k, IGAMMA] = gamma
        inner[k, ICP] = gamma * gas_R / (gamma - 1.0)
        inner[k, IGAS] = gas_R
        inner[k, IT] = a * a / (gamma * gas_R)


@stage
def look_back(net, state, work, record, inner, dt):
    """Variables and sources of the cells at the start of the step, and the inner states of ends."""
    n = net.area.shape[0] - 1
    gas_R = net.gas_R[0]
    gamma = ratio_of_heats(net)
    W = work.W
    Q = work.Q
    cells = net.cells
    variables(
        n, gamma, W[f.U], W[f.P], W[f.C], Q[LAMBDA], Q[BETA], Q[LEVEL], Q[RATIO]
    )
    sources(
        n, dt, gamma, gamma * gas_R / (gamma - 1.0), net.options[f.FRICTION_ON],
        net.options[f.HEAT_ON], state.U[f.R], W[f.U], W[f.C], state.T, cells[f.DLNA], W[f.DRAG],
        W[f.SLOW], cells[f.WALL], W[f.STANTON], work.W[f.STILL], cells[f.VOL], Q[LAMBDA_RATE],
        Q[BETA_RATE], Q[LEVEL_RATE], record.wall[f.GAIN], record.wall[f.GRIP],
    )
    feet_at_ends(net, state, work, inner, dt, gamma, gas_R)


@stage
def show_faces(net, state, work, gamma):
    """Write the new face values into the ghost cells beside the ends."""
    g = 0.5 * (gamma - 1.0)
    Q = work.Q
    for k in range(net.end_int.shape[0]):
        i = net.end_int[k, f.END_CELL]
        ghost = i + 1 if net.end_par[k, f.SIGN] > 0.0 else i - 1
        face = state.end[k]
        a = math.sqrt(gamma * face[f.ES_P] / face[f.ES_R])
        Q[LAMBDA, ghost] = a + g * face[f.ES_U]
        Q[BETA, ghost] = a - g * face[f.ES_U]
        Q[RATIO, ghost] = ratio_of(face[f.ES_P], gamma)
        Q[LEVEL, ghost] = a / Q[RATIO, ghost]
        for row in range(LAMBDA_RATE, LEVEL_RATE + 1):
            Q[row, ghost] = Q[row, i]
        work.W[f.U, ghost] = face[f.ES_U]
        work.W[f.C, ghost] = a
        work.W[f.YF, ghost] = face[f.ES_YF]
        work.W[f.YB, ghost] = face[f.ES_YB]


@leaf
def line(i, nu, w, w_left, w_right, first, last):
    """Foot of a line through centre i of slope w: (neighbour, share, share of dt travelled).

    `first` and `last` tell that the left or right neighbour is a face.
    """
    if w > 0.0:
        j = i - 1
        nu_i = nu * w
        nu_j = nu * w_left
        at_face = first
    else:
        j = i + 1
        nu_i = -nu * w
        nu_j = -nu * w_right
        at_face = last
    if at_face:
        s = share_from_face(nu_i, nu_j)
        return j, s, 1.0 - 0.5 * s
    return j, share_inside(nu_i, nu_j), 1.0


@stage
def advance(net, state, work, dt):
    """New state of all cells from the feet of their three lines; the faces are those of now."""
    gamma = ratio_of_heats(net)
    show_faces(net, state, work, gamma)
    g = 0.5 * (gamma - 1.0)
    lam = work.Q[LAMBDA]
    bet = work.Q[BETA]
    level = work.Q[LEVEL]
    ratio = work.Q[RATIO]
    lam_rate = work.Q[LAMBDA_RATE]
    bet_rate = work.Q[BETA_RATE]
    level_rate = work.Q[LEVEL_RATE]
    u = work.W[f.U]
    c = work.W[f.C]
    yf = work.W[f.YF]
    yb = work.W[f.YB]
    U = state.U
    for d in range(net.duct.shape[0]):
        lo = net.duct[d, 0]
        hi = net.duct[d, 1]
        nu = dt * net.cells[f.INV_DX, lo]
        for i in range(lo, hi):
            L = i - 1
            R = i + 1
            first = i == lo
            last = i == hi - 1
            j, s, h = line(i, nu, u[i], u[L], u[R], first, last)
            now, fresh, burned = mixed(s, level[i], level[j], yf[i], yf[j], yb[i], yb[j])
            now *= 1.0 + h * dt * between(0.5 * s, level_rate[i], level_rate[j])
            j, s, h = line(i, nu, u[i] + c[i], u[L] + c[L], u[R] + c[R], first, last)
            lam_new = carry(s, h * dt, lam[i], lam[j], level[i], level[j], ratio[i], ratio[j],
                            lam_rate[i], lam_rate[j], now)
            j, s, h = line(i, nu, u[i] - c[i], u[L] - c[L], u[R] - c[R], first, last)
            bet_new = carry(s, h * dt, bet[i], bet[j], level[i], level[j], ratio[i], ratio[j],
                            bet_rate[i], bet_rate[j], now)
            a = 0.5 * (lam_new + bet_new)
            speed = 0.5 * (lam_new - bet_new) / g
            p = pressure_of(a / now, gamma)
            rho = gamma * p / (a * a)
            U[f.R, i] = rho
            U[f.M, i] = rho * speed
            U[f.E, i] = p / (gamma - 1.0) + 0.5 * rho * speed * speed
            U[f.Y1, i] = rho * fresh
            U[f.Y2, i] = rho * burned


@entry
def march_lines(net, state, work, record, inner, face, t_end, max_steps):
    """March to the time `t_end` [s] along characteristics; returns (status, steps taken)."""
    steps = 0
    while True:
        status, dt, theta = open_step(net, state, work, record, face, t_end, steps, max_steps)
        if status != GO_ON:
            return status, steps
        look_back(net, state, work, record, inner, dt)
        solve_ends_ahead(net, state, work, inner, face, dt, theta)
        advance(net, state, work, dt)
        close_step(net, state, work, record, face, dt, theta, t_end)
        steps += 1
