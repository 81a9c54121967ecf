"""Transmission loss of silencers, computed by the solver itself at small amplitude.

::

    anechoic | inlet   pulse --> | the line to be judged | outlet | anechoic
                                 A                       B

A short pulse is sent into gas at rest.  At A and B the pressure is split into the waves that run
either way, p+ = (p' + rho c u') / 2 and p- = (p' - rho c u') / 2, and the loss is the ratio of the
sound power that arrives at A to that which leaves B,

    TL = 10 log10(S_A |P+_A|^2 / (S_B |P+_B|^2)),

P+ being the Fourier transform over the whole response (Munjal, Acoustics of Ducts and Mufflers,
2nd ed. 2014, ch. 2 and 3; from memory).  Both ends are anechoic, so one pulse is enough.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, nan, pi
from typing import TYPE_CHECKING, Any

import numpy as np

from wavesim.arrays.compile import FILL, compile_network, fill_store
from wavesim.constants import STANDARD_PRESSURE, STANDARD_TEMPERATURE
from wavesim.descriptions.lines import Plan
from wavesim.descriptions.network import Network
from wavesim.descriptions.nodes import AnechoicEnd, Perforate
from wavesim.descriptions.pipes import BORE_RANGE, Part, Pipe, same_bore
from wavesim.descriptions.settings import Settings
from wavesim.errors import InputError, check_choice, check_kind, check_number, shown
from wavesim.fields.description import sequence
from wavesim.fields.tabular import Column, Sheet, Tabular
from wavesim.gas.models import EngineGas, PerfectGas, given_gas
from wavesim.guard import guarded
from wavesim.kernels import flat as f
from wavesim.kernels.nodes import FP, FV
from wavesim.march.advance import march_to

if TYPE_CHECKING:
    from matplotlib.axes import Axes

CELL_LENGTH = 0.01  # [m] unless settings are given
CELLS_PER_WAVE = 8  # least number of cells in the shortest wavelength
_HALF_PULSE = 5.0  # half the length of the pulse over its standard deviation
_FALL = 2.146  # of the pulse's spectrum at the highest frequency: exp(-2.146^2 / 2) = 0.1
_QUIET = 1e-6  # of the peak of the incident pulse: below it the response has ended
FIRST_MODE = 1.8412  # k times radius where the first mode across a round duct begins to travel
_OUTLET = 0.1  # length of the outlet pipe [m]
_LOOK = 200  # steps between two looks at that


@guarded
@dataclass(frozen=True)
class TransmissionLoss(Tabular):
    """Transmission loss against frequency.

    Attributes
    ----------
    frequency : ndarray
        [Hz], (n,).
    loss : ndarray
        [dB], (n,).
    quiet : bool
        True if the response had died away before the march ended; False: sharp peaks may be
        blurred.
    cut_on : float
        Frequency [Hz] above which the first mode across the widest circular section travels, NaN
        if it is not known; from there on plane waves are not the whole truth.

    Examples
    --------
    >>> import wavesim as ws
    >>> chamber = ws.Chamber("300 mm", "50 mm", case_diameter="150 mm")
    >>> found = ws.transmission_loss(chamber, frequencies=[143.0, 286.0])
    >>> bool(found.loss.min() > 5.0)  # decibels
    True
    >>> ax = found.plot()
    """

    frequency: np.ndarray
    loss: np.ndarray
    quiet: bool
    cut_on: float = nan

    def __repr__(self) -> str:
        low, high = self.frequency.min(), self.frequency.max()
        return f"<TransmissionLoss: {self.frequency.size} frequencies, {low:g} to {high:g} Hz>"

    def plot(
        self,
        ax: "Axes | None" = None,
        reference: "TransmissionLoss | tuple[np.ndarray, np.ndarray] | None" = None,
        **line_kws: Any,
    ) -> "Axes":
        """Loss against frequency: see `wavesim.plots.plot_transmission_loss`.

        Drawn on the same Axes once more, a second loss gets a line of its own.
        """
        from wavesim.show.plots import plot_transmission_loss

        return plot_transmission_loss(self, ax, reference, **line_kws)

    _index = "frequency"

    def _columns(self):
        return [Column("frequency", "Hz", self.frequency),
                Column("transmission_loss", "dB", self.loss)]

    def _sheet(self):
        rows = [["", "transmission loss [dB]", "at frequency [Hz]"]]
        for word, find in (("lowest", np.argmin), ("highest", np.argmax)):
            i = find(self.loss)
            rows.append([word, f"{self.loss[i]:.1f}", f"{self.frequency[i]:g}"])
        ended = "had died away" if self.quiet else "had not died away: sharp peaks may be blurred"
        notes = [f"The response {ended}."]
        if self.frequency.max() > self.cut_on:
            notes.append(f"Above {self.cut_on:.0f} Hz modes across the widest section travel, "
                         "which a calculation with plane waves leaves out.")
        return Sheet(rows, f"{self.loss.size} frequencies", notes)


@guarded
def transmission_loss(
    line: Part | Sequence[Part] | Network,
    *,
    gas: PerfectGas | EngineGas | None = None,
    temperature: float = STANDARD_TEMPERATURE,
    pressure: float = STANDARD_PRESSURE,
    fill: str | tuple[float, float] | None = None,
    frequencies: Sequence[float] | np.ndarray | None = None,
    settings: Settings | None = None,
    bore: float | None = None,
    inlet: str = "inlet",
    outlet: str = "outlet",
    amplitude: float = 1e-5,
    wall_losses: bool = False,
    longest: float = 0.5,
) -> TransmissionLoss:
    """Transmission loss of a line of parts in gas at rest, by one small pulse.

    Parameters
    ----------
    line : Part, sequence of Part, or Network
        Parts as in an exhaust (Pipe, Bend, Plate, Monolith, PerforatedSilencer, Chamber, SideTube,
        Resonator), laid between two straight pipes; or a network that holds such pipes.
    gas : PerfectGas or EngineGas, optional
        Default: air as a perfect gas, gamma 1.4, R 287.05 J/(kg K).
    temperature, pressure : float
        Of the gas everywhere, packing included [K], 200 to 2000, and [Pa], 1e4 to 1e6.
    fill : str or pair, optional
        "air", "fresh", "burned", or mass fractions (fresh, burned).  Default: "burned" for an
        EngineGas, "air" otherwise.
    frequencies : sequence of float, optional
        [Hz], above 0.  Default: 10 to 1000 in steps of 10.
    settings : Settings, optional
        Cells of 10 mm by default.
    bore : float, optional
        Of the two straight pipes [m], 0.003 to 0.5.  Default: the bores at which the line starts
        and ends; it is needed if the line holds only plates and side branches.
    inlet, outlet : str
        For a Network only: ducts of constant bore.  The inlet starts and the outlet ends in an
        AnechoicEnd; the other ends of the two face the silencer.
    amplitude : float
        Peak of the pulse over the pressure, 1e-8 to 0.1.
    wall_losses : bool
        Keep friction, bend losses and wall heat of the ducts, which linear theory leaves out.  The
        resistance of holes and the fibres of a packing always act.
    longest : float
        Time after which the march ends if the response has not [s], 0.001 to 10.

    Returns
    -------
    TransmissionLoss

    Raises
    ------
    InputError
        If a value is out of range, the line or network is faulty, a frequency is too high for the
        cells (fewer than eight in a wavelength), or the inlet of a network is too short for the
        pulse.
    SolverError
        If a state turns unphysical.

    Notes
    -----
    The scheme's own error falls with the square of cells per wavelength; chambers of 50 cells agree
    with theory within 0.1 dB.  Plane waves only: above the frequency at which the first
    mode across the widest section D begins to travel, 1.841 c / (pi D), real silencers do
    something else (Munjal 1987, Acoustics of Ducts and Mufflers, section 1.2; from memory).  It is
    the first zero of the derivative of the Bessel function J1; in a silencer that is symmetric
    about its axis this mode is hardly stirred up, and the limit lies higher.

    Examples
    --------
    >>> chamber = Chamber(0.3, 0.05, case_diameter=0.15)             # doctest: +SKIP
    >>> transmission_loss(chamber, frequencies=[286]).loss           # doctest: +SKIP
    array([13.17])
    """
    frequency = _frequencies(frequencies)
    owner = "transmission_loss"
    check_number(owner, "temperature", temperature, "K", 200.0, 2000.0)
    check_number(owner, "pressure", pressure, "Pa", 1e4, 1e6)
    check_number(owner, "amplitude", amplitude, "1", 1e-8, 0.1)
    if bore is not None:
        check_number(owner, "bore", bore, "m", *BORE_RANGE)
    check_number(owner, "longest", longest, "s", 1e-3, 10.0)
    gas = given_gas(owner, gas) or PerfectGas()
    fill = _fractions(fill, "burned" if isinstance(gas, EngineGas) else "air")
    settings = Settings(cell_length=CELL_LENGTH) if settings is None else settings
    check_kind(owner, "settings", settings, Settings)
    yf, yb = fill
    c = float(gas.sound_speed(temperature, yf, yb))
    shortest = c / frequency.max()
    if CELLS_PER_WAVE * settings.cell_length > shortest:
        raise InputError(
            f"{owner}: frequencies up to {frequency.max():g} Hz need a cell_length of at most "
            f"{shortest / CELLS_PER_WAVE:.3g} m, {CELLS_PER_WAVE} cells in a wavelength."
        )
    deviation = _FALL * shortest / (2.0 * pi)  # of the pulse [m]
    end = {"pressure": pressure, "temperature": temperature}
    if not isinstance(line, Network):
        line = _between_pipes(line, bore, 2.0 * _HALF_PULSE * deviation, end)
        inlet, outlet = "inlet", "outlet"
    _check_measuring_pipes(line, inlet, outlet, 2.0 * _HALF_PULSE * deviation)
    start = dict.fromkeys(line.ducts, (pressure, 0.0, temperature, fill))
    start[inlet] = _pulse(line.ducts[inlet].length, deviation, amplitude, start[inlet], gas, c)
    model = compile_network(line, gas, settings, initial=start, join=False)  # reads their ends
    _still_gas(model, temperature, (pressure, temperature, yf, yb), wall_losses)
    rho_c = float(gas.density(pressure, temperature, yf, yb)) * c
    rows = [model.ends[inlet, "end"], model.ends[outlet, "start"]]
    time, waves, quiet = _march(model, rows, rho_c, pressure, amplitude, longest)
    turn = np.exp(-2j * pi * frequency[:, None] * time)
    arrived, left = (np.abs(turn @ wave) ** 2 for wave in waves)
    share = model.net.end_par[rows, f.AREA]
    return TransmissionLoss(
        frequency, 10.0 * np.log10(share[0] * arrived / (share[1] * left)), quiet,
        FIRST_MODE * c / (pi * _widest(line)),
    )


def _widest(network):
    """Diameter of the widest circular section of a network [m].

    Round a perforated core lies its case: the areas of the two ducts add up.
    """
    bores = {
        name: max([tube.diameter for tube in duct.parts] + [duct.end_diameter])
        for name, duct in network.ducts.items()
    }
    cases = [
        hypot(bores[node.core], bores[node.annulus])
        for node in network.nodes.values() if isinstance(node, Perforate)
    ]
    return max([*bores.values(), *cases])


def _fractions(fill, usual):
    """Mass fractions of fresh charge and of burned gas."""
    owner, fill = "transmission_loss", usual if fill is None else fill
    if isinstance(fill, str):
        return FILL[check_choice(owner, "fill", fill, FILL)]
    pair = sequence(owner, "fill", fill, "two mass fractions, fresh and burned")
    if len(pair) != 2:
        raise InputError(f"{owner}: fill = {shown(fill)} must be two mass fractions.")
    return tuple(check_number(owner, "fill", part, "1", 0.0, 1.0) for part in pair)


def _frequencies(given):
    """Frequencies as an array, checked."""
    if given is None:
        return np.arange(10.0, 1000.1, 10.0)
    try:
        frequency = np.atleast_1d(np.asarray(given, dtype=float))
    except (TypeError, ValueError, OverflowError, RecursionError):
        frequency = np.array([])
    if frequency.ndim != 1 or not frequency.size or not np.all(
        np.isfinite(frequency) & (frequency > 0.0)
    ):
        raise InputError("transmission_loss: frequencies must be one or more numbers above 0 Hz.")
    return frequency


def _between_pipes(parts, bore, length, end):
    """Network of a line of parts between two straight pipes."""
    parts = tuple(parts) if isinstance(parts, (tuple, list)) else (parts,)
    strange = [part for part in parts if not isinstance(part, Part)]
    if strange or not parts:
        raise InputError(
            f"transmission_loss: line = {shown(strange or parts)} must be a part such as a "
            "Chamber, a sequence of parts, or a Network."
        )
    passed = [part for part in parts if part.adds_length]
    if bore is None and not passed:
        raise InputError(
            "transmission_loss: bore = None must be the bore of the pipes in m, for the line holds "
            "only plates and side branches."
        )
    plan = Plan()
    first, last = plan.lay(
        ("inlet", (Pipe(length, bore or passed[0].diameter),)),
        ("line", parts),
        ("outlet", (Pipe(_OUTLET, bore or passed[-1].outlet_diameter),)),
    )
    plan.nodes["before"] = AnechoicEnd(first, **end)
    plan.nodes["behind"] = AnechoicEnd(last, **end)
    return Network(plan.ducts, plan.nodes)


def _check_measuring_pipes(network, inlet, outlet, shortest):
    """Inlet and outlet must be straight, anechoic, and the inlet long enough for the pulse."""
    swallowed = {
        end for node in network.nodes.values() if isinstance(node, AnechoicEnd) for end in node.ends
    }
    for role, name, side in (("inlet", inlet, "start"), ("outlet", outlet, "end")):
        if not isinstance(name, str) or name not in network.ducts:
            raise InputError(
                f"transmission_loss: {role} = {shown(name)} is not a duct of the network, valid "
                f"are {', '.join(map(repr, network.ducts))}."
            )
        duct = network.ducts[name]
        if (name, side) not in swallowed:
            raise InputError(
                f"transmission_loss: {role} {name!r} must have an AnechoicEnd at its {side}."
            )
        if not all(same_bore(tube.diameter, duct.start_diameter) for tube in duct.parts) or (
            not same_bore(duct.end_diameter, duct.start_diameter)
        ):
            raise InputError(f"transmission_loss: {role} {name!r} must have one bore throughout.")
    if network.ducts[inlet].length < shortest * (1.0 - 1e-9):
        raise InputError(
            f"transmission_loss: inlet {inlet!r} of {network.ducts[inlet].length:.4g} m must be at "
            f"least {shortest:.4g} m long to hold the pulse, or the highest frequency be raised."
        )


def _pulse(length, deviation, amplitude, rest, gas, c):
    """Start state of the inlet: a Gaussian pulse that runs to its end."""
    pressure, _, temperature, fill = rest
    yf, yb = fill
    rho = float(gas.density(pressure, temperature, yf, yb))
    gamma = rho * c * c / pressure
    centre = length - _HALF_PULSE * deviation

    def start(x):
        rise = amplitude * np.exp(-0.5 * ((x - centre) / deviation) ** 2)
        warmed = temperature * (1.0 + rise) ** ((gamma - 1.0) / gamma)
        return pressure * (1.0 + rise), pressure * rise / (rho * c), warmed, fill

    return start


def _still_gas(model, temperature, gas_state, wall_losses):
    """Give walls, fibres and volumes the temperature of the gas; switch off the wall losses."""
    cells = model.net.cells
    cells[f.WALL] = temperature
    if not wall_losses:
        cells[[f.FRICTION, f.BEND, f.HEAT]] = 0.0
    for row in np.flatnonzero(model.net.store_int[:, f.STORE_KIND] == f.VOLUME):
        fill_store(model, row, *gas_state, model.net.store_volume[row])


def _march(model, rows, rho_c, pressure, amplitude, longest):
    """March until the response has died away.

    Returns
    -------
    time : ndarray
        Middles of the steps [s], where the faces of the ducts are known.
    waves : list of ndarray
        Waves towards the silencer at the first end and away from it at the second [Pa].
    quiet : bool
    """
    cells = [slice(lo, hi) for lo, hi in model.ducts.values()]
    rate = max(_fastest(model, inside) for inside in cells)
    dt = 0.98 * model.settings.cfl / rate  # a little less than the solver would take: equal steps
    signs = model.net.end_par[rows, f.SIGN]
    faces, peak, quiet = [], amplitude * pressure, False
    for step in range(1, int(longest / dt) + 1):
        march_to(model, step * dt, model.settings.max_steps_per_cycle)
        faces.append(model.face[rows][:, [FP, FV]])
        if step % _LOOK == 0:
            swing = np.ptp(faces[-_LOOK:], axis=0) * [1.0, rho_c]
            quiet = bool(swing.max() < _QUIET * peak and step > 2 * _LOOK)
            if quiet:
                break
    faces = np.array(faces)
    excess, velocity = faces[:, :, 0] - pressure, signs * faces[:, :, 1]
    waves = 0.5 * (excess + rho_c * velocity)
    return (np.arange(len(faces)) + 0.5) * dt, list(waves.T), quiet


def _fastest(model, inside):
    """Largest sound speed plus velocity over cell length in some cells at the start [1/s]."""
    U, T = model.state.U[:, inside], model.state.T[inside]
    c = model.gas.sound_speed(T, U[f.Y1] / U[f.R], U[f.Y2] / U[f.R])
    return float(np.max((np.abs(U[f.M] / U[f.R]) + c) * model.net.cells[f.INV_DX, inside]))
