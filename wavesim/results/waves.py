"""The two running parts of a pressure: what goes on along a duct and what comes back.

In a duct of constant area without friction and heat a gas carries two numbers unchanged along the
paths of sound on and back, the invariants of Riemann (1860), u + 2c/(g - 1) and u - 2c/(g - 1).
A state (p, u, c) that lies on an isentrope through the quiet state (p0, u0, c0) is therefore the
meeting of one wave on and one back, whatever their size.  With X = (p/p0)^G, G = (g - 1)/(2 g), and
c0 = c/X,

    X_on = (1 + X + (g - 1)(u - u0)/(2 c0)) / 2,      p_on = p0 X_on^(1/G),
    X_back = (1 + X - (g - 1)(u - u0)/(2 c0)) / 2,    p_back = p0 X_back^(1/G),

so that X = X_on + X_back - 1 (Earnshaw 1860 for one wave; from memory).  For small waves this is
p_on - p0 = (p' + rho c u')/2 and p_back - p0 = (p' - rho c u')/2.
"""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from wavesim.errors import InputError, check_number
from wavesim.fields.tabular import Column, Sheet, Tabular
from wavesim.guard import guarded
from wavesim.results.traces import Samples, Trace
from wavesim.show.quantities import display

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LEAST_SHARE = 1e-3  # of the strongest harmonic: below it a quotient of two harmonics is noise


@guarded
@dataclass(frozen=True, eq=False)
class Waves(Tabular):
    """Running parts of the pressure at one place.

    Attributes
    ----------
    pressure : Trace
        The pressure that was split.
    on : Trace
        Pressure that the wave running from the start of the duct to its end has alone [Pa],
        absolute.  In an exhaust that is the way from the valves to the tailpipe.
    back : Trace
        That of the wave running the other way.
    quiet : float
        Pressure between the waves [Pa], to which both return.
    flow : float
        Velocity on which they ride [m/s], along the duct.

    Examples
    --------
    >>> import wavesim as ws
    >>> pipe = ws.Network({"pipe": ws.Pipe(2.0, 0.04)},
    ...                   {"left": ws.AnechoicEnd("pipe.start"), "right": ws.OpenEnd("pipe.end")})
    >>> def pulse(x):
    ...     return 101325.0 * (1.0 + 1e-3 * np.exp(-(((x - 0.5) / 0.1) ** 2))), 0.0, 300.0, "air"
    >>> run = ws.simulate(pipe, 8e-3, initial={"pipe": pulse}, samples=801)
    >>> waves = run.waves("pipe", 1.0)
    >>> round(waves.on.highest().x * 1e3, 1), round(waves.back.lowest().x * 1e3, 1)
    (1.4, 7.3)
    >>> ax = waves.plot()
    """

    pressure: Trace
    on: Trace
    back: Trace
    quiet: float
    flow: float

    def __repr__(self) -> str:
        return f"<Waves: {self.pressure.at}, {self.pressure.x.size} samples>"

    @property
    def at(self) -> str:
        """The place."""
        return self.pressure.at

    @property
    def _index(self):
        return self._columns()[0].name

    def _columns(self):
        x, _ = self.pressure._columns()
        return [x, Column("pressure", "Pa", self.pressure.values),
                Column("pressure_on", "Pa", self.on.values),
                Column("pressure_back", "Pa", self.back.values)]

    def _sheet(self):
        look, x = display("pressure"), self._columns()[0]
        rows = [["", f"lowest [{look.unit}]", f"at {x.heading}".replace("_", " "),
                 f"highest [{look.unit}]", "at"]]
        for word, trace in (("pressure", self.pressure), ("on", self.on), ("back", self.back)):
            ends = trace.lowest(), trace.highest()
            rows.append([word, *(text for end in ends
                                 for text in (look.text(end.value), f"{end.x:.6g}"))])
        return Sheet(rows, f"running parts of the pressure at {self.at}")

    def reflection(self, highest: float = 1000.0) -> "Reflection":
        """Wave back over wave on, harmonic by harmonic of the engine's cycle.

        Parameters
        ----------
        highest : float
            Highest frequency [Hz], above 0.

        Returns
        -------
        Reflection
            At the place of the trace, in the flow that was there.  Harmonics whose wave on has
            less than a thousandth of the strongest are left out: their quotient would be noise.

        Raises
        ------
        InputError
            If the trace runs over time, for only a cycle has harmonics, or if no harmonic is left.

        Notes
        -----
        Of an engine both waves are driven: what other cylinders send comes back as well, so that
        the quotient may exceed 1.

        Examples
        --------
        >>> import wavesim as ws
        >>> study = ws.load(ws.demo_path("collector"))
        >>> single = study.engine.replace(firing_order=(1,))
        >>> header = ws.Exhaust(primary=ws.Pipe("700 mm", "40 mm"), merge=None)
        >>> point = ws.run_point(single, header, 4500.0,
        ...                      settings=ws.Settings(cell_length=0.05, tolerance=0.05))
        >>> found = point.waves("exhaust valve 1").reflection(highest=300.0)
        >>> bool(found.frequency.max() <= 300.0)
        True
        """
        if self.pressure.rpm is None or self.pressure.x_name != "theta_deg":
            raise InputError("Waves: reflection needs a cycle of an engine, not a trace over time.")
        on, back = (np.fft.rfft(trace.values - self.quiet)[1:] for trace in (self.on, self.back))
        order = np.arange(1, on.size + 1)
        heard = np.abs(on) >= LEAST_SHARE * np.abs(on).max(initial=0.0)
        heard &= order < on.size  # the last, at half the sampling rate, has no phase
        frequency = order * self.pressure.rpm / 120.0
        heard &= frequency <= check_number("reflection", "highest", highest, "Hz", 0.0, 1e6)
        if not heard.any():
            raise InputError(
                f"reflection: highest = {highest:g} Hz is below all harmonics that are heard, must "
                f"be {frequency[0]:g} Hz or more."
            )
        return Reflection(frequency[heard], (back / np.where(heard, on, 1.0))[heard], self.at)

    def plot(self, ax: "Axes | None" = None, **line_kws: Any) -> "Axes":
        """Draw the pressure and its two running parts.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        **line_kws
            For all lines.

        Returns
        -------
        matplotlib Axes
        """
        from wavesim.show import plots

        ax = plots.plot_trace([self.pressure, self.on, self.back], ax,
                              label=["pressure", "running on", "running back"], **line_kws)
        ax.axhline(display("pressure").factor * self.quiet, color=plots.REFERENCE, lw=0.8)
        ax.set_title(self.at, loc="left", fontsize=10, y=1.08)
        return ax


@guarded
@dataclass(frozen=True, eq=False)
class Reflection(Tabular):
    """Reflection coefficient of pressure against frequency.

    Attributes
    ----------
    frequency : ndarray, (n,)
        [Hz].
    coefficient : ndarray of complex, (n,)
        Wave back over wave on at the place; time runs as exp(+i omega t).
    at : str
        The place.

    Examples
    --------
    >>> import wavesim as ws
    >>> study = ws.load(ws.demo_path("collector"))
    >>> settings = ws.Settings(cell_length=0.05, tolerance=0.05)
    >>> single = study.engine.replace(firing_order=(1,))
    >>> header = ws.Exhaust(primary=ws.Pipe("700 mm", "40 mm"), merge=None)
    >>> point = ws.run_point(single, header, 4500.0, settings=settings)
    >>> found = point.waves("exhaust valve 1").reflection(highest=500.0)
    >>> bool(found.frequency.max() <= 500.0), found.impedance.shape == found.coefficient.shape
    (True, True)
    >>> ax = found.plot()
    """

    frequency: np.ndarray
    coefficient: np.ndarray
    at: str

    _index = "frequency"

    def __repr__(self) -> str:
        return f"<Reflection: {self.at}, {self.frequency.size} frequencies>"

    @property
    def impedance(self) -> np.ndarray:
        """Impedance looking along the duct over that of the gas, rho c, (n,): (1 + R)/(1 - R)."""
        return (1.0 + self.coefficient) / (1.0 - self.coefficient)

    def _columns(self):
        return [Column("frequency", "Hz", self.frequency),
                Column("reflection_magnitude", "1", np.abs(self.coefficient)),
                Column("reflection_phase", "rad", np.angle(self.coefficient))]

    def _sheet(self):
        size = np.abs(self.coefficient)
        rows = [["", "magnitude", "at frequency [Hz]"]]
        for word, find in (("lowest", np.argmin), ("highest", np.argmax)):
            i = find(size)
            rows.append([word, f"{size[i]:.3f}", f"{self.frequency[i]:.4g}"])
        return Sheet(rows, f"reflection at {self.at}, {size.size} frequencies")

    def plot(self, ax: "Axes | None" = None, **line_kws: Any) -> "Axes":
        """Draw the magnitude against frequency.

        Parameters
        ----------
        ax : matplotlib Axes or None
            None makes a new figure.
        **line_kws
            For the line.

        Returns
        -------
        matplotlib Axes
        """
        from wavesim.show import plots

        return plots.plot_reflection(self, ax, **line_kws)


def split_waves(
    samples: Samples, at: str, x: float | None, quiet: float | None, flow: float | None
) -> Waves:
    """Running parts of the pressure at a place of recorded samples: see `Point.waves`."""
    sign = samples.direction(at)
    p, u, gamma, c = (samples.trace(name, at, x)
                      for name in ("pressure", "velocity", "gamma", "sound_speed"))
    along = sign * u.values
    turning = p.x_name == "theta_deg"
    usual = (p.values.mean(), 0.0) if turning else (p.values[0], along[0])
    quiet = float(usual[0]) if quiet is None else check_number(
        "waves", "quiet", quiet, "Pa", 0.0, 1e8, low_open=True)
    flow = float(usual[1]) if flow is None else check_number(
        "waves", "flow", flow, "m/s", -2000.0, 2000.0)
    exponent = (gamma.values - 1.0) / (2.0 * gamma.values)
    ratio = (p.values / quiet) ** exponent
    push = (gamma.values - 1.0) * (along - flow) * ratio / (2.0 * c.values)
    on, back = (
        replace(p, values=quiet * (0.5 * (1.0 + ratio + way)) ** (1.0 / exponent))
        for way in (push, -push)
    )
    return Waves(p, on, back, quiet, flow)
