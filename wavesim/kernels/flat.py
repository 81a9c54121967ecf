"""The contract between `wavesim.arrays.compile` and the kernels: arrays, columns and integer codes.

One cell axis holds all ducts; x runs from a duct's start (side 0) to its end (side 1).  Every duct
end is an *end*; `sign` is the direction of the outward normal along x: -1 at a start, +1 at an end.
A *store* is anything that holds gas in one state: the surroundings, a volume, a junction cell, a
cylinder.  All arrays are C-contiguous float64 or int64.
"""

from typing import NamedTuple

import numpy as np

# --- rows of the cell arrays -------------------------------------------------------------------
N_CONSERVED = 5
R, M, E, Y1, Y2 = range(N_CONSERVED)  # State.U: per volume
N_PRIMITIVE = 13  # Work.W
(U, P, C, YF, YB, RATE, DRAG, SLOW, STANTON, STILL,
 PER_Z,  # 1/(rho c)
 WARMED,  # half the pressure [Pa] that heat from the wall added last
 PUSH) = range(N_PRIMITIVE)  # force of the wall [N] beyond the mean pressure, in steep tapers
N_FACE = 9
(RM, UM, PM, RP, UP, PP,  # Work.Q: face values by cell
 HALF_F, HALF_B,  # half the slopes of the fractions across the cell
 PER_MASS) = range(N_FACE)  # step over mass of the cell [s/kg]
N_FLUX = 5  # Work.F: rows as State.U, one column a face

# --- rows of Net.cells (geometry and wall by cell) ----------------------------------------------
N_CELL = 10
(INV_DX, DLNA, VOL, INV_VOL, DIAM, ROUGH, FRICTION, HEAT, WALL,
 BEND) = range(N_CELL)  # loss coefficient of bends over twice their length [1/m]

# --- ends ---------------------------------------------------------------------------------------
CLOSED, ANECHOIC, PORT, PAIR, BRANCH = range(5)  # END_KIND
N_END_INT = 5  # Net.end_int: kind, cell at the end, face, store behind a PORT, row of valve_area
END_KIND, END_CELL, END_FACE, END_STORE, END_VALVE = range(N_END_INT)  # -1 for none
N_END = 14  # Net.end_par
(AREA, CD_OUT, CD_IN, RAD_RADIUS, RAD_MASS, RAD_LEAD, RAD_DAMP, RAD_LAG, DIR_X, DIR_Y, DIR_Z,
 P_REF, T_REF, SIGN) = range(N_END)
N_END_STATE = 18  # State.end: what the face did in the last step (ghost cells, warm start)
(ES_R, ES_U, ES_P, ES_YF, ES_YB, ES_V, ES_AUX, ES_RAD_1, ES_RAD_2,
 ES_SLUG, ES_SLUG_T, ES_SLUG_YF, ES_SLUG_YB,
 ES_CAME, ES_CAME_R, ES_CAME_YF, ES_CAME_YB,  # gas come in: how far in cells, its state
 ES_V_BEFORE) = range(N_END_STATE)

# --- pairs of ends, and perforated walls --------------------------------------------------------
N_PAIR = 4  # Net.pair_par: throat area and loss coefficient (-1: none) from end 0 to 1, and back
THROAT_ON, THROAT_BACK, LOSS_ON, LOSS_BACK = range(N_PAIR)
N_HOLE_WALL = 4  # Net.hole_wall: first hole, number of holes, first cell on either side
FIRST_HOLE, HOLES, CORE_CELL, ANNULUS_CELL = range(N_HOLE_WALL)

# --- stores -------------------------------------------------------------------------------------
AMBIENT, VOLUME, CELL, CYLINDER = range(4)  # STORE_KIND
N_STORE_INT = 4  # Net.store_int: kind, cylinder number or -1, range of its ends in Net.listed
STORE_KIND, STORE_CYL, STORE_FIRST, STORE_LAST = range(N_STORE_INT)
N_STORE = 10  # State.store: mass, total energy, fresh, burned, momentum vector; temperature as the
(SM, SE, SF, SB, SX, SY, SZ, ST,  # guess of the next step; rates of mass and energy in the last
 RATE_M, RATE_E) = range(N_STORE)
N_STORE_NOW = 18  # Work.store: the half-step state that the ends see
(NP, NT, NYF, NYB, NGAMMA, NCP, NR, NH, NVX, NVY, NVZ, NVOL, NRHO,
 NV_KNOWN, N_ANGLE,  # a cylinder's volume at the crank angle N_ANGLE
 N_BEFORE,  # pressure at the start of the step
 N_STIFF,  # step over the time in which sound empties the store
 N_WIDTH) = range(N_STORE_NOW)  # of a junction cell: cube root of its volume

# --- cylinders ----------------------------------------------------------------------------------
N_CYL = 18  # Net.cyl_par
(BORE, STROKE, ROD, PIN, CLEARANCE, PHASE, SOC, DURATION, WIEBE_M, Q_FRESH, HEAD_AREA, PISTON_AREA,
 T_HEAD, T_PISTON, T_LINER, HEAT_MODEL_FACTOR, IVC, EVO) = range(N_CYL)
N_CYL_STATE = 4  # State.cyl
FRESH_AT_SOC, P_IVC, V_IVC, T_IVC = range(N_CYL_STATE)

# --- sums over a cycle --------------------------------------------------------------------------
N_END_SUM = 4  # Record.end_sum: net out of the duct
OUT_MASS, OUT_ENERGY, OUT_FRESH, OUT_BURNED = range(N_END_SUM)
N_CYL_SUM = 17  # Record.cyl_sum
(WORK_0, WORK_1, WORK_2, WORK_3, WALL_LOSS, HEAT_RELEASE, PEAK, PEAK_ANGLE, FRESH_BURNED,
 TRAP_MASS, TRAP_FRESH, TRAP_BURNED, TRAP_P, TRAP_T, EVO_P, EVO_T, EVO_MASS) = range(N_CYL_SUM)

GAIN, GRIP = range(2)  # Record.wall
N_WAY = 6  # Record.ways: from the core to the annulus and back, through the faces at the upper end
(WAY_OUT, WAY_IN,  # of each core cell and each annulus cell on and back
 WAY_CORE_ON, WAY_CORE_BACK, WAY_ANNULUS_ON, WAY_ANNULUS_BACK) = range(N_WAY)

# --- samples against crank angle ----------------------------------------------------------------
N_FIELD = 5  # Record.field: p, u, T, yf, yb by cell
N_STORE_SAMPLE = 5  # p, T, mass, yf, yb
N_END_SAMPLE = 3  # pressure, outward velocity, outward mass flow at the face

# --- status -------------------------------------------------------------------------------------
OK, BAD_STATE, TOO_MANY_STEPS, NO_STEP = range(4)


class Net(NamedTuple):
    """Everything that stays as it is during a run."""

    gas_kind: int
    gas_R: np.ndarray  # (3,)
    gas_coef: np.ndarray  # (3, 8)
    cells: np.ndarray  # (N_CELL, n)
    area: np.ndarray  # (n + 1,) face areas
    duct: np.ndarray  # (n_duct, 2) first cell, one past the last
    taper: np.ndarray  # (n_taper,) cells over which the bore changes steeply
    end_int: np.ndarray  # (n_end, N_END_INT)
    end_par: np.ndarray  # (n_end, N_END)
    pair: np.ndarray  # (n_pair, 2) ends
    pair_par: np.ndarray  # (n_pair, N_PAIR)
    joint: np.ndarray  # (n_joint, 2) range in `listed` of each constant-pressure junction
    listed: np.ndarray  # ends of all stores and joints, one after the other
    store_int: np.ndarray  # (n_store, N_STORE_INT)
    store_volume: np.ndarray  # (n_store,)
    hole_wall: np.ndarray  # (n_wall, N_HOLE_WALL)
    hole_par: np.ndarray  # (N_HOLE, n_hole)
    cyl_par: np.ndarray  # (n_cyl, N_CYL)
    valve_area: np.ndarray  # (n_valve, 2, n_angle) effective area [m2] against crank angle
    slice_end: np.ndarray  # (n_slice,) end of each slice of the cycle [s]; empty without an engine
    options: np.ndarray  # (N_OPTION,)


N_OPTION = 5  # Net.options
CFL, FRICTION_ON, HEAT_ON, OMEGA_DEG, MIXED = range(N_OPTION)  # MIXED: not all is air
PER_DEGREE = 1e6  # points of the grid of crank angles in a degree
HARD_CFL = 0.97  # a planned step may use this much before the plan is broken


N_PASS = 7  # Work.hole
(PASS_VOLUME, PASS_R, PASS_E, PASS_Y1, PASS_Y2,  # out of the core
 PASS_CORE, PASS_ANNULUS) = range(N_PASS)  # momentum lost there
N_HOLE = 6  # Net.hole_par
(HOLE_AREA,  # open area [m2]
 HOLE_LENGTH,  # with end correction [m]
 HOLE_LOSS,  # (1 - sigma^2) / (2 Cd^2)
 HOLE_BACKING,  # resistance of the packing behind the hole, in cold air [Pa s/m]
 RESIST,  # flow resistivity of the packing on the velocity of the gas, in cold air [Pa s/m2]
 FIBRE) = range(N_HOLE)  # heat exchange with its fibres per volume of gas [W/m3/K]


class State(NamedTuple):
    """Everything that a run needs to go on."""

    U: np.ndarray  # (N_CONSERVED, n)
    T: np.ndarray  # (n,) temperature, guess of the next step
    end: np.ndarray  # (n_end, N_END_STATE)
    store: np.ndarray  # (n_store, N_STORE)
    cyl: np.ndarray  # (n_cyl, N_CYL_STATE)
    hole_u: np.ndarray  # (n_hole,) velocity in the holes, core to annulus
    clock: np.ndarray  # (N_CLOCK,)
    plan: np.ndarray  # (n_slice, N_PLAN) steps of each slice of the cycle, as in the cycle before


N_CLOCK = 15  # State.clock; from UNSOLVED_END on: how often the emergency exits were taken
(TIME, STEPS, LAST_DT, NEXT_SAMPLE,
 SLICE, IN_SLICE, STEPS_LEFT,  # slice of the cycle, steps taken and left in it
 UNSOLVED_END, UNSOLVED_PAIR, UNSOLVED_JOINT, UNSOLVED_STORE,  # iterations that did not converge
 UNSOLVED_TAPER,
 FLOORED_FACE,  # pressure held at a floor
 CAPPED_HOLE,  # flows through holes held to a share of the cell
 CLIPPED_FRACTION) = range(N_CLOCK)  # mass fractions outside 0 to 1 beyond round-off
N_PLAN = 2  # State.plan
PLANNED, FASTEST = range(N_PLAN)  # steps planned (0: none yet); largest (|u|+c)/dx met


class Work(NamedTuple):
    """Scratch of a step."""

    W: np.ndarray  # (N_PRIMITIVE, n)
    Q: np.ndarray  # (N_FACE, n)
    F: np.ndarray  # (N_FLUX, n + 1)
    store: np.ndarray  # (n_store, N_STORE_NOW)
    hole: np.ndarray  # (N_PASS, n_hole)


class Record(NamedTuple):
    """What a run leaves behind."""

    end_sum: np.ndarray  # (n_end, N_END_SUM)
    cyl_sum: np.ndarray  # (n_cyl, N_CYL_SUM)
    wall: np.ndarray  # (2, n): GAIN, heat taken up from the wall [J]; GRIP, conductance between
    # gas and wall times time [J/K]
    ways: np.ndarray  # (N_WAY, n_hole) gas that has gone each way beside packed walls [kg]
    field: np.ndarray  # (n_sample, N_FIELD, n) float32
    store: np.ndarray  # (n_sample, n_store, N_STORE_SAMPLE)
    end: np.ndarray  # (n_sample, n_end, N_END_SAMPLE)
    interval: np.ndarray  # (1,) seconds between samples (0: no samples)
