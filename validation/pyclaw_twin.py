"""The same Riemann problem by Clawpack, a general finite-volume library, with equally many cells.

Classic second-order wave propagation, Roe's solver with an entropy fix, monotonized-central
limiter, Courant number 0.9.  Mandli et al., PeerJ Comput. Sci. 2 (2016) e68.
"""

import importlib.util
import logging
import warnings

import numpy as np

IS_HERE = importlib.util.find_spec("clawpack") is not None
MISSING = ("Clawpack is not installed, so nothing is compared with it: pip install '.[clawpack]', "
           "which needs a Fortran and a C compiler.")


def controller(left, right, gamma, x0, t, length, cells):
    """Controller of a Riemann problem on 0..length [m] to the time t [s], before its run.

    `left` and `right` are (rho, u, p) in SI units; both ends let everything out.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from clawpack import pyclaw, riemann

        logging.getLogger("pyclaw").setLevel(logging.CRITICAL)
        solver = pyclaw.ClawSolver1D(riemann.euler_with_efix_1D)
        solver.limiters = pyclaw.limiters.tvd.MC
        solver.bc_lower[0] = solver.bc_upper[0] = pyclaw.BC.extrap
        solver.cfl_desired, solver.cfl_max = 0.9, 1.0
        domain = pyclaw.Domain([pyclaw.Dimension(0.0, length, cells, name="x")])
        state = pyclaw.State(domain, 3)
        state.problem_data.update(gamma=gamma, gamma1=gamma - 1.0)
        x = state.grid.x.centers
        rho, u, p = (np.where(x < x0, a, b) for a, b in zip(left, right, strict=True))
        state.q[0], state.q[1] = rho, rho * u
        state.q[2] = p / (gamma - 1.0) + 0.5 * rho * u * u
        run = pyclaw.Controller()
        run.solution, run.solver = pyclaw.Solution(state, domain), solver
        run.tfinal, run.num_output_times = t, 1
        run.output_format, run.keep_copy, run.verbosity = None, True, 0
        return run


def density(left, right, gamma, x0, t, length, cells):
    """Cell centres [m] and density [kg/m3] at time t; parameters as for `controller`."""
    run = controller(left, right, gamma, x0, t, length, cells)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        run.run()
    return run.solution.state.grid.x.centers, run.frames[-1].q[0].copy()
