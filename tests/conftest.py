"""Fixtures that several test files share: the example study on a coarse mesh, run once."""

import matplotlib
import pytest

from wavesim.descriptions.settings import Settings
from wavesim.descriptions.study import demo_path, load
from wavesim.many.sweep import run_study

matplotlib.use("Agg")


@pytest.fixture(scope="session")
def coarse_study():
    """The example study at three speeds on a coarse mesh."""
    settings = Settings(cell_length=0.03, sample_deg=2.0, tolerance=2e-3)
    return load(demo_path("collector")).replace(rpm=(3000.0, 4500.0, 6000.0), settings=settings)


@pytest.fixture(scope="session")
def sweeps(coarse_study):
    """Sweeps of its base and its variant, by name."""
    return run_study(coarse_study, threads=2, progress=False)


@pytest.fixture(scope="session")
def base(sweeps):
    """Sweep of the base."""
    return sweeps["short collector"]
