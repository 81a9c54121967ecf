"""Traces and samples: windows of crank angle, a cylinder's own angle, integrals, connections."""

from math import pi

import matplotlib.pyplot as plt
import numpy as np
import pytest

import wavesim as ws

THETA = np.arange(0.0, 720.0, 2.0)
FIRING = (0.0, 480.0, 241.0)  # the last lies between two samples


def trace_of(values, quantity="pressure", x=THETA, **more):
    return ws.Trace(x, np.asarray(values, dtype=float), quantity, "somewhere", **more)


def wave(theta):
    return 3.0 + np.cos(np.radians(theta)) + 0.5 * np.sin(np.radians(1.5 * theta))


def antiderivative(theta):
    """Of `wave` over degrees."""
    turn = 180.0 / pi
    return 3.0 * theta + turn * (np.sin(np.radians(theta)) - np.cos(np.radians(1.5 * theta)) / 3.0)


# --- windows --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("start", "stop"),
    [(0.0, 180.0), (10.3, 11.1), (600.0, 840.0), (-90.0, 90.0), (333.3, 1000.0), (0.0, 720.0)],
)
def test_mean_over_a_window_is_the_integral_over_its_width(start, stop):
    expected = (antiderivative(stop) - antiderivative(start)) / (stop - start)
    assert trace_of(wave(THETA)).mean(start, stop) == pytest.approx(expected, rel=2e-4)


def test_window_runs_on_over_the_end_of_the_cycle():
    trace = trace_of(wave(THETA))
    assert trace.mean(600.0, 120.0) == pytest.approx(trace.mean(600.0, 840.0), rel=1e-12)
    parts = 120.0 * trace.mean(600.0, 720.0) + 120.0 * trace.mean(0.0, 120.0)
    assert trace.mean(600.0, 120.0) == pytest.approx(parts / 240.0, rel=1e-12)


def test_mean_of_the_whole_cycle_is_that_of_its_samples():
    trace = trace_of(np.random.default_rng(3).normal(size=THETA.size))
    assert trace.mean() == pytest.approx(trace.values.mean(), rel=1e-9)
    assert trace.mean(100.0, 820.0) == pytest.approx(trace.mean(), rel=1e-9)


def test_integrals_of_neighbouring_windows_add_up():
    trace = trace_of(wave(THETA), "mass_flow", rpm=3000.0)
    edges = [-20.0, 33.3, 181.0, 400.9, 700.0]
    parts = [trace.integral(a, b) for a, b in zip(edges, edges[1:], strict=False)]
    assert sum(parts) == pytest.approx(trace.integral(-20.0, 700.0), rel=1e-12)
    assert sum(parts) == pytest.approx(trace.integral(), rel=1e-12)


def test_integral_over_time_knows_the_engine_speed():
    """Half a turn at 3000 rev/min takes 10 ms."""
    flow = trace_of(np.full(THETA.size, 0.3), "mass_flow", rpm=3000.0)
    assert flow.integral(90.0, 270.0) == pytest.approx(0.3 * 0.010, rel=1e-12)


def test_integral_over_another_trace_is_the_area_that_both_go_round():
    """An ellipse; clockwise in the pressure-volume plane gives work."""
    angle = np.radians(0.5 * THETA)
    p, V = 2e5 + 1e5 * np.sin(angle), 5e-4 - 3e-4 * np.cos(angle)
    work = trace_of(p).integral(over=trace_of(V, "volume"))
    assert work == pytest.approx(pi * 1e5 * 3e-4, rel=1e-4)
    with pytest.raises(ws.InputError, match="same x"):
        trace_of(p).integral(over=trace_of(V[:-1], "volume", THETA[:-1]))
    with pytest.raises(ws.InputError, match="same x"):
        trace_of(p).integral(over=V)


def test_traces_over_time_have_windows_of_time():
    t = np.linspace(0.0, 0.1, 101)
    trace = trace_of(20.0 * t, x=t, x_name="time")
    assert trace.mean() == pytest.approx(1.0) and trace.mean(0.02, 0.05) == pytest.approx(0.7)
    assert trace.integral(0.0205, 0.0405) == pytest.approx(20.0 * 0.5 * (0.0405**2 - 0.0205**2))


@pytest.mark.parametrize(
    ("ask", "message"),
    [
        (lambda t, _: t.mean(10.0), "start and stop must be given both"),
        (lambda t, _: t.mean(stop=10.0), "start and stop must be given both"),
        (lambda t, _: t.mean(10.0, 10.0), "more than 0 and at most 720 deg"),
        (lambda t, _: t.mean(0.0, 721.0), "more than 0 and at most 720 deg"),
        (lambda t, _: t.mean(float("nan"), 10.0), "start = nan deg is not a finite"),
        (lambda t, _: t.mean("0", 10.0), "start = '0' is not a number"),
        (lambda t, _: t.integral(), "knows no engine speed"),
        (lambda t, _: t.own_angle(4), "cylinder = 4 .* 1 to 3"),
        (lambda t, _: t.own_angle(0), "cylinder = 0"),
        (lambda t, _: t.own_angle(1, start=1000.0), "start = 1000 deg is outside"),
        (lambda _, t: t.own_angle(1), "runs over time"),
        (lambda _, t: t.mean(0.0, 0.2), "stop = 0.2 s is outside the valid range 0 s"),
        (lambda _, t: t.mean(0.05, 0.02), "stop = 0.02 s is outside"),
    ],
)
def test_windows_and_cylinders_that_are_not_there_are_refused(ask, message):
    t = np.linspace(0.0, 0.1, 101)
    turning = trace_of(wave(THETA), firing_angles_deg=FIRING)
    with pytest.raises(ws.InputError, match=message):
        ask(turning, trace_of(t, x=t, x_name="time"))


# --- own angle ------------------------------------------------------------------------------------


@pytest.mark.parametrize("number", (1, 2, 3))
@pytest.mark.parametrize("start", (0.0, -180.0, 360.0))
def test_own_angle_counts_from_the_firing_of_the_cylinder(number, start):
    trace = trace_of(wave(THETA), firing_angles_deg=FIRING)
    own = trace.own_angle(number, start)
    assert own.cylinder == number and np.all(np.diff(own.x) > 0.0)
    assert start <= own.x[0] < start + 2.0 and own.x[-1] < start + 720.0
    assert own.values == pytest.approx(wave(own.x + FIRING[number - 1]), rel=1e-12)
    assert sorted(own.values) == sorted(trace.values)
    assert own.mean(350.0, 380.0) == pytest.approx(
        trace.mean(350.0 + FIRING[number - 1], 380.0 + FIRING[number - 1]), rel=1e-9)


def test_own_angle_of_one_cylinder_leads_to_that_of_another():
    trace = trace_of(wave(THETA), firing_angles_deg=FIRING)
    there, straight = trace.own_angle(2).own_angle(3), trace.own_angle(3)
    assert there.x == pytest.approx(straight.x) and np.array_equal(there.values, straight.values)
    assert there.firing_angles_deg == pytest.approx(straight.firing_angles_deg)
    assert np.array_equal(trace.own_angle(3).own_angle(1).values, trace.values)


def test_plot_says_whose_angle_it_shows():
    trace = trace_of(wave(THETA), firing_angles_deg=FIRING)
    one = trace.own_angle(2, -180.0).plot()
    assert "firing TDC of cylinder 2" in one.get_xlabel() and one.get_xlim() == (-180.0, 540.0)
    both = ws.plots.plot_trace([trace.own_angle(1), trace.own_angle(3)], label=["1", "3"])
    assert "firing TDC of its own cylinder" in both.get_xlabel()
    assert "firing TDC of cylinder 1" in trace.plot().get_xlabel()
    plt.close("all")


# --- samples --------------------------------------------------------------------------------------


def test_every_quantity_is_recorded_somewhere_and_finite(base):
    samples = base[4500].samples
    places = {"duct": ("collector", 0.1), "node": ("exhaust valve 2",), "store": ("plenum",)}
    found = {}
    for kind, place in places.items():
        for quantity in ws.TRACES:
            try:
                values = samples.trace(quantity, *place).values
            except ws.InputError as error:
                assert "not recorded" in str(error)
            else:
                assert values.shape == samples.x.shape and np.isfinite(values).all()
                found.setdefault(kind, set()).add(quantity)
    moving = {"pressure", "velocity", "temperature", "fresh", "burned", "mass_flow", "density",
              "sound_speed", "gamma", "mach"}
    assert found["duct"] == found["node"] == moving
    assert found["store"] == moving - {"velocity", "mass_flow", "mach"} | {"mass", "volume"}
    assert set().union(*found.values()) == set(ws.TRACES)


def test_volume_of_a_plenum_and_of_a_junction_is_that_of_the_description(base):
    point = base[4500]
    assert point.trace("volume", "plenum").values == pytest.approx(0.004, rel=1e-12)
    mass, volume, density = (
        point.trace(name, "plenum").values for name in ("mass", "volume", "density"))
    assert mass == pytest.approx(density * volume, rel=1e-3)  # samples lie between two steps
    assert np.ptp(point.trace("volume", "merge").values) == 0.0


def test_field_of_a_derived_quantity_is_its_trace_at_every_cell(base):
    samples = base[4500].samples
    for quantity in ("density", "sound_speed", "gamma", "mach"):
        field = samples.field(quantity, "primary 3")
        x = samples.centres("primary 3")[4]
        assert field[:, 4] == pytest.approx(samples.trace(quantity, "primary 3", x).values)


def test_connections_say_which_duct_ends_a_node_joins(base):
    point = base[4500]
    found = point.samples.connections
    assert found["merge"] == (*(f"primary {n}.end" for n in range(1, 5)), "collector.start")
    assert found["outlet"] == ("collector.end",)
    assert found["exhaust valve 3"] == ("exhaust port 3.start",)
    ends = [end for joined in found.values() for end in joined]
    ducts = point.samples.layout["ducts"]
    assert sorted(ends) == sorted(f"{d}.{side}" for d in ducts for side in ("start", "end"))


def test_connections_name_the_ducts_beside_a_perforated_wall():
    box = ws.Network(
        {"core": ws.Pipe(0.3, 0.05), "annulus": ws.Pipe(0.3, 0.1)},
        {"a": ws.AnechoicEnd("core.start"), "b": ws.AnechoicEnd("core.end"),
         "c": ws.ClosedEnd("annulus.start"), "d": ws.ClosedEnd("annulus.end"),
         "wall": ws.Perforate("core", "annulus", hole_diameter=0.003, porosity=0.2,
                              wall_thickness=0.001)},
    )
    found = ws.simulate(box, 1e-4, samples=2).samples
    assert found.connections["wall"] == ("core", "annulus")
    assert found.connections["c"] == ("annulus.start",)


def test_traces_of_a_march_without_an_engine_have_no_cylinders():
    pipe = ws.Network({"pipe": ws.Pipe(1.0, 0.05)},
                      {"a": ws.ClosedEnd("pipe.start"), "b": ws.OpenEnd("pipe.end")})
    trace = ws.simulate(pipe, 1e-3, samples=5).trace("mach", "pipe", 0.5)
    assert trace.rpm is None and trace.firing_angles_deg == () and trace.x_name == "time"
    assert trace.values == pytest.approx(0.0, abs=1e-6)
