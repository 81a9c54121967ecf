"""The example of complete systems: header, four metres of pipe with five bends, packed silencer.

The full sweep with its tables beside common practice is `validation/case_complete_system.py`.
"""

import numpy as np
import pytest
from case_complete_system import PRACTICE, findings, overlap_pressure, report, sweeps

import wavesim as ws

SPEEDS = (3000.0, 5000.0, 6500.0)


@pytest.fixture(scope="module")
def found():
    """Sweeps of the three exhausts at three speeds on a coarse mesh."""
    return sweeps(SPEEDS, ws.Settings(cell_length=0.03, sample_deg=2.0))


def test_all_systems_converge_and_keep_mass_and_energy(found):
    """Ledger of a cycle below 1e-10 of the air that passes and of the heat released."""
    assert len(found) == 3
    for sweep in found.values():
        assert len(sweep) == len(SPEEDS)
        for point in sweep:
            assert point.converged and point.audit["cycles"] < 25
            assert abs(point.audit["mass_error"]) < 1e-10
            assert abs(point.audit["energy_error"]) < 1e-10


def test_back_pressure_grows_with_flow_and_falls_with_bore(found):
    base, small, large = (sweep["back_pressure"] for sweep in found.values())
    assert np.all(np.diff(small) > 0.0)
    assert np.all(small > large)
    assert small[-1] > 15e3 and small[-1] > base[-1]
    assert 0.2 < large[-1] / small[-1] < 0.6  # 1.44 in area: half the dynamic pressure


def test_undersized_system_costs_power_and_a_larger_bore_recovers_most_of_it(found):
    """Signs only: the sizes are printed by the case script beside what practice says."""
    numbers = findings(found)
    assert list(numbers) == list(PRACTICE)
    assert 0.0 < numbers["loss of peak power, small bore"] < 10.0
    assert 50.0 < numbers["peak power given back by the larger bore"] < 100.0


def test_torque_follows_the_pressure_in_overlap(found):
    """The reason for gains and losses alike: at one speed, the exhaust that draws more while both
    valves are open fills the cylinder better.
    """
    for points in zip(*found.values(), strict=True):
        pressure = np.array([overlap_pressure(point) for point in points])
        filling = np.array([point.volumetric_efficiency for point in points])
        spread = pressure.max() - pressure.min()
        assert spread > 2e3
        assert filling[np.argmin(pressure)] > filling[np.argmax(pressure)]


def test_walls_are_solved_and_cool_along_the_system(found):
    """The pipe is hotter than the tailpipe; no wall is hotter than the gas or colder than the air.

    (The primaries are cooler than the pipe: each carries gas for a quarter of the time.)
    """
    walls = found["complete, 51 mm"][5000.0].meta["walls"]
    pipe, tail = (
        np.mean([wall["inner_mean"] for name, parts in walls.items() if name.startswith(line)
                 for wall in parts])
        for line in ("pipe", "tailpipe")
    )
    assert pipe > tail + 30.0
    for parts in walls.values():
        for wall in parts:
            assert 300.0 < wall["outer_mean"] <= wall["inner_mean"] < 1200.0


def test_report_holds_every_speed_and_finding(found):
    text = report(found)
    assert all(f"{rpm:.0f}" in text for rpm in SPEEDS)
    assert all(name in text for name in PRACTICE)


@pytest.mark.slow
@pytest.mark.parametrize("rpm", [3500.0, 6000.0])
def test_torque_of_a_complete_system_at_the_default_mesh_is_that_of_a_finer_one(rpm):
    """Within 0.3 % of cells of a quarter the length."""
    study = ws.load(ws.demo_path("complete"))
    exhaust = study.exhausts["complete, 51 mm"]
    usual, fine = (
        ws.run_point(
            study.engine, exhaust, rpm,
            settings=ws.Settings(cell_length=length, tolerance=3e-4),
        )
        for length in (0.016, 0.004)
    )
    print(f"{rpm:g} rev/min: {usual.torque:.2f} and {fine.torque:.2f} N m")
    assert usual.converged and fine.converged
    assert usual.torque == pytest.approx(fine.torque, rel=3e-3)
