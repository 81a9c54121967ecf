"""Settings of a calculation: mesh, time step, convergence, what physics is switched on."""

from dataclasses import dataclass

from wavesim.errors import check_kind
from wavesim.fields.description import Description, choice, flag, integer, number

SCHEMES = ("finite volume", "characteristics")


@dataclass(frozen=True, kw_only=True)
class Settings(Description):
    """How a calculation is run.

    Parameters
    ----------
    cell_length : float
        Wanted length of the cells [m], 0.0005 to 0.2; a Pipe may ask for its own.  With an engine
        it holds for the exhaust; the cold intake has 0.55 of it (sound is about half as fast
        there), and a run of ducts shorter than 20 cells has down to half of it.
    cfl : float
        Courant number of the time step, 0.05 to 1.
    scheme : {"finite volume", "characteristics"}
        Solver for the ducts.  The first is of second order, sharp at shocks and contacts, and
        keeps mass and energy to round-off.  The second is the classical mesh method, an
        independent check of the first.  It is of first order: give it cells a quarter as long.
        It is not conservative: `audit` shows errors of mass and energy, which fall with the cell
        length while waves are smooth.  It knows no shocks: they run 3 % too slowly at Mach 1.5,
        11 % at Mach 2, on any mesh, and the books do not close; a violent one stops the run with
        a SolverError.  It smears contacts.  It needs a perfect gas and refuses perforated walls.
    tolerance : float
        Largest relative difference of the cycle integrals between the last cycle and the three
        before it that counts as converged, 1e-7 to 0.1.
    max_cycles, min_cycles : int
        Limits of the number of engine cycles, 1 to 1000 and 1 to `max_cycles`.
    coarse_start : float
        Factor on the cell length for the first cycles of an engine, 1 to 10; 1 starts at once on
        the fine mesh.
    sample_deg : float
        Crank angle between recorded samples [deg], 0.05 to 10, a whole fraction of 720.
    friction : bool
        Wall friction in the ducts.
    wall_heat : bool
        Heat through the walls of ducts that have a wall temperature.  Cylinders lose heat by the
        factor of their own `heat`, whatever is said here.
    unequal_pressures : bool
        True: the air at the ends of one engine may differ in pressure, as on a bench that feeds the
        intake, or in a wind tunnel; False: that is refused as a mistake.
    max_steps_per_cycle : int
        Time steps in one cycle after which the run stops with an error, 1000 to 1e9.

    Raises
    ------
    InputError
        If a value is outside its range.

    Examples
    --------
    >>> Settings(cell_length="20 mm").replace(tolerance=5e-4).cell_length
    0.02
    """

    cell_length: float = number("m", 0.0005, 0.2, 0.016)
    cfl: float = number("1", 0.05, 1.0, 0.85)
    scheme: str = choice(SCHEMES, SCHEMES[0])
    tolerance: float = number("1", 1e-7, 0.1, 1e-3)
    max_cycles: int = integer(1, 1000, 60)
    min_cycles: int = integer(1, 1000, 3)
    coarse_start: float = number("1", 1.0, 10.0, 2.5)
    sample_deg: float = number("deg", 0.05, 10.0, 1.0)
    friction: bool = flag(True)
    wall_heat: bool = flag(True)
    unequal_pressures: bool = flag(False)
    max_steps_per_cycle: int = integer(1000, 1_000_000_000, 2_000_000)

    def _check(self):
        if self.min_cycles > self.max_cycles:
            self._refuse(
                f"min_cycles = {self.min_cycles} (no unit) must be at most max_cycles, "
                f"valid are 1 to {self.max_cycles}."
            )
        samples = 720.0 / self.sample_deg
        if abs(samples - round(samples)) > 1e-9 * samples:
            self._refuse(
                f"sample_deg = {self.sample_deg:g} deg must divide 720 deg into equal steps, "
                "in the valid range 0.05 deg to 10 deg."
            )


def given_settings(owner, settings):
    """Settings that were given, or the usual ones for None.

    Parameters
    ----------
    owner : str
        Function that asks, for messages.
    settings : Settings or None

    Raises
    ------
    InputError
        If it is something else.
    """
    check_kind(owner, "settings", settings, Settings, optional=True)
    return Settings() if settings is None else settings
