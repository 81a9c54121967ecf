"""Polynomials for the internal energy of a gas mixture, fitted to the species data.

The heat capacity of a mixture has a bend that a short polynomial cannot follow everywhere, so the
fit spends its freedom where an engine gas lives: it makes the largest error of cp and of the
enthalpy rise, each measured against its allowance, as small as can be from 250 to 2500 K.
Outside, the allowance grows steadily; cv stays positive far beyond, where an iteration may pass.

That is a linear programme: with unknown coefficients and the unknown largest error t,

    minimise t   so that   |error_i| <= t allowance_i   and   cv(T) >= R.

Least squares on the same points leaves a largest error of cp about 1.4 times as big, and promises
nothing about the sign of cv.
"""

import numpy as np

from wavesim.gas.species import T_REFERENCE, mixture_cp, mixture_h

DEGREE = 7  #: of the polynomials e(T); with 6 air misses its isentropic compression by 0.15 %
T_FIT = (250.0, 2500.0)  #: range in which the allowances hold [K]
T_POSITIVE = (100.0, 5000.0)  #: range in which cv is at least R [K]
CP_ALLOWANCE = 0.005  #: relative error of cp allowed in T_FIT
H_ALLOWANCE = 0.002  #: relative error of h(T) - h(298.15 K) allowed in T_FIT

_T = np.arange(200.0, 3501.0, 10.0)  # where errors are counted [K]
_SPREAD_BELOW, _SPREAD_ABOVE = 10.0, 200.0  # outside T_FIT an allowance doubles over this [K]


def fit_energy(moles, R):
    """Coefficients c of e(T) = sum of c[k] (T / 1000 K)^k, with h = e + R T zero at 298.15 K.

    Parameters
    ----------
    moles : mapping of str to float
        Amount of each species [mol].
    R : float
        Gas constant of the mixture [J/(kg K)].

    Returns
    -------
    ndarray, shape (DEGREE + 1,)
        Coefficients [J/kg].
    """
    from scipy.optimize import linprog

    k = np.arange(1, DEGREE + 1)
    cp = mixture_cp(moles, _T)
    rise = mixture_h(moles, _T) - mixture_h(moles, T_REFERENCE)
    allowance = 1.0 + np.maximum(T_FIT[0] - _T, 0.0) / _SPREAD_BELOW
    allowance += np.maximum(_T - T_FIT[1], 0.0) / _SPREAD_ABOVE

    # Every row below is an error in units of its allowance: matrix @ c - target.
    cp_scale = CP_ALLOWANCE * allowance * cp
    h_scale = H_ALLOWANCE * allowance * np.abs(rise)
    powers = _powers(_T, k) - _powers(T_REFERENCE, k)
    matrix = np.vstack([_slopes(_T, k) / cp_scale[:, None], powers / h_scale[:, None]])
    target = np.hstack([(cp - R) / cp_scale, (rise - R * (_T - T_REFERENCE)) / h_scale])

    T_positive = np.linspace(*T_POSITIVE, 99)
    t = np.ones((len(target), 1))
    programme = linprog(
        np.append(np.zeros(DEGREE), 1.0),
        A_ub=np.block([
            [matrix, -t],
            [-matrix, -t],
            [-_slopes(T_positive, k) / R, np.zeros((len(T_positive), 1))],
        ]),
        b_ub=np.hstack([target, -target, np.full(len(T_positive), -1.0)]),
        bounds=[(None, None)] * DEGREE + [(0.0, None)],
    )
    c = programme.x[:DEGREE]
    # e is -R T where h is zero.
    return np.append(-R * T_REFERENCE - _powers(T_REFERENCE, k) @ c, c)


def _powers(T, k):
    """(T / 1000 K)^k, one row per temperature."""
    return (np.asarray(T)[..., None] / 1000.0) ** k


def _slopes(T, k):
    """Derivative of the powers with respect to T [1/K]."""
    return 1e-3 * k * _powers(T, k - 1)
