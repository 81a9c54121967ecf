"""Systems of singles, twins and V engines: what follows what, and what passes a link of the banks.

All data are invented.
"""

import numpy as np
import pytest

import wavesim as ws
from wavesim.errors import InputError

STUDY = ws.load(ws.demo_path("collector"))
SINGLE = STUDY.engine.replace(firing_order=(1,))
TWIN = STUDY.engine.replace(
    firing_order=(1, 2), banks=(1, 2), firing_intervals_deg=(270.0, 450.0))
PRIMARY, PIPE = ws.Pipe(0.5, 0.042), ws.Pipe(0.4, 0.042, end_diameter=0.08)
TAIL = (ws.PerforatedSilencer(0.3, 0.05, case_diameter=0.1), ws.Pipe(0.2, 0.05))


def way(network, start):
    """Names of the nodes and ducts that gas passes from a node on."""
    passed, end = [start], network.nodes[start].ends[0]
    while True:
        duct = end[0]
        far = f"{duct}.{'end' if end[1] == 'start' else 'start'}"
        node = network.node_at(far)
        passed += [duct, node]
        others = [e for e in network.nodes[node].ends if f"{e[0]}.{e[1]}" != far]
        if len(others) != 1:
            return passed
        end = others[0]


def test_single_without_a_merge_has_all_its_lines_end_to_end():
    exhaust = ws.Exhaust(primary=PRIMARY, merge=None, pipe=PIPE, tailpipe=TAIL)
    network = exhaust.network(SINGLE)
    ducts = [name for name in way(network, "exhaust valve 1") if name in network.ducts]
    assert ducts == ["exhaust port 1", "primary 1", "pipe 1", "tailpipe 1/1 core", "tailpipe 1/2"]
    assert way(network, "exhaust valve 1")[-1] == "outlet 1"


def test_single_without_a_merge_runs_as_one_long_primary():
    """Laid end to end means the same gas column, to round-off."""
    settings = ws.Settings(cell_length=0.05, tolerance=1e-4, sample_deg=10.0)
    named = ws.Exhaust(primary=PRIMARY, merge=None, pipe=PIPE)
    whole = ws.Exhaust(primary=(PRIMARY, PIPE), merge=None)
    a, b = (ws.run_point(SINGLE, exhaust, 4000.0, settings=settings) for exhaust in (named, whole))
    assert a.torque == pytest.approx(b.torque, rel=1e-3)
    straight = ws.run_point(SINGLE, ws.Exhaust(primary=PRIMARY, merge=None), 4000.0,
                            settings=settings)
    assert abs(straight.torque / a.torque - 1.0) > 0.005


def test_every_stack_of_a_four_may_have_its_own_megaphone():
    exhaust = ws.Exhaust(primary=PRIMARY, merge=None, pipe=PIPE)
    network = exhaust.network(STUDY.engine)
    for n in range(1, 5):
        assert way(network, f"exhaust valve {n}")[-3:] == [
            f"step primary {n} - pipe {n}", f"pipe {n}", f"outlet {n}"][-3:]
    rows = {row.line: row for row in ws.bill(exhaust, STUDY.engine).rows}
    assert rows["pipe"].count == 4


def test_pairs_without_a_merge_end_in_an_outlet_each():
    exhaust = ws.Exhaust(primary=PRIMARY, pairs=((1, 4), (2, 3)), secondary=ws.Pipe(0.4, 0.05),
                         merge=None, tailpipe=TAIL)
    network = exhaust.network(STUDY.engine)
    assert {name for name in network.nodes if name.startswith(("merge", "outlet"))} == {
        "merge 1-4", "merge 2-3", "outlet 1-4", "outlet 2-3"}
    assert {row.line: row.count for row in ws.bill(exhaust, STUDY.engine).rows} == {
        "primary": 4, "secondary": 2, "tailpipe": 2}


# --- V engines ------------------------------------------------------------------------------------


@pytest.mark.parametrize("merge", [None, ws.Merge()])
def test_two_banks_of_a_twin_have_single_exhausts(merge):
    """Two outlets, and from no valve a way to the outlet of the other."""
    exhaust = ws.Exhaust(primary=PRIMARY, merge=merge, pipe=PIPE)
    network = exhaust.network(TWIN)
    ends = [way(network, f"exhaust valve {n}") for n in (1, 2)]
    assert not set(ends[0]) & set(ends[1])
    assert all(one[-1].startswith("outlet") for one in ends)


@pytest.mark.parametrize(("link", "nodes"), [
    (ws.HPipe(tube=ws.Pipe(0.3, 0.04)), {"h-pipe 1", "h-pipe 2", "outlet 1", "outlet 2"}),
    (ws.XPipe(), {"x-pipe", "outlet 1", "outlet 2"}),
    (ws.Merge(), {"bank merge", "outlet"}),
])
@pytest.mark.parametrize("collector", [(), ws.Pipe(0.2, 0.045)])
def test_systems_of_a_twin_are_linked_where_primaries_or_collectors_end(link, nodes, collector):
    exhaust = ws.Exhaust(primary=PRIMARY, merge=None, collector=collector, bank_link=link,
                         pipe=ws.Pipe(0.4, 0.045))
    network = exhaust.network(TWIN)
    assert nodes <= set(network.nodes)
    last = "collector" if collector else "primary"
    joint = network.nodes[next(n for n in sorted(nodes) if "outlet" not in n)]
    assert (f"{last} 1", "end") in joint.ends
    ws.bill(exhaust, TWIN)


def test_link_of_four_stacks_is_refused_with_the_reason():
    exhaust = ws.Exhaust(primary=PRIMARY, merge=None, bank_link=ws.XPipe(), pipe=PIPE)
    with pytest.raises(InputError, match="XPipe needs an engine with 2 separate systems, this one "
                                         "has 4"):
        exhaust.network(STUDY.engine)
    with pytest.raises(InputError, match="merge = None, if the primaries end at the link"):
        ws.Exhaust(primary=PRIMARY, bank_link=ws.XPipe(), pipe=PIPE)


VEE = """
rpm = [3000]
[engine]
name = "invented V6"
bore = "84 mm"
stroke = "75 mm"
rod = "130 mm"
compression_ratio = 10.5
firing_order = [1, 2, 3, 4, 5, 6]
banks = [1, 2, 1, 2, 1, 2]
intake_valve = {diameter = "44 mm", lift = {opens_deg = 10, closes_deg = 45, lift = "9 mm"}}
exhaust_valve = {diameter = "38 mm", lift = {opens_deg = 45, closes_deg = 8, lift = "9 mm"}}
intake_port = {length = 0.1, diameter = 0.038}
exhaust_port = {length = 0.08, diameter = 0.034}
[engine.intake]
runner = {length = 0.3, diameter = 0.04}
plenum_volume = "5 litre"
throttle_diameter = 0.065
inlet = {length = 0.3, diameter = 0.07}
[exhaust]
name = "two banks apart"
primary = {length = "600 mm", outer_diameter = "38 mm", thickness = "16 gauge"}
collector = {length = "400 mm", diameter = "50 mm"}
pipe = {length = "1200 mm", diameter = "50 mm"}
[[variants]]
name = "H"
set = {"exhaust.bank_link" = {type = "HPipe", tube = {length = "300 mm", diameter = "44 mm"}}}
[[variants]]
name = "X"
set = {"exhaust.bank_link" = {type = "XPipe", angle_deg = 15}}
[[variants]]
name = "Y"
set = {"exhaust.bank_link" = {type = "Merge", angle_deg = 15}}
"""


@pytest.fixture
def vee(tmp_path):
    (tmp_path / "vee.toml").write_text(VEE)
    return ws.load(tmp_path / "vee.toml")


def test_study_of_a_v_engine_holds_its_links(vee):
    links = {"two banks apart": set(), "H": {"h-pipe bank 1", "h-pipe bank 2"}, "X": {"x-pipe"},
             "Y": {"bank merge"}}
    for name, nodes in links.items():
        network = vee.exhausts[name].network(vee.engine)
        assert network.check() == []
        joined = {n for n in network.nodes if n.startswith(("h-pipe", "x-pipe", "bank merge"))}
        assert joined == nodes
        outlets = [n for n in network.nodes if n.startswith("outlet")]
        assert len(outlets) == (1 if name == "Y" else 2)
        for bank, cylinder in ((1, 1), (2, 2)):
            assert way(network, f"exhaust valve {cylinder}")[-1] == f"merge bank {bank}"


def banks(vee, name, kicks):
    """Highest pressure rise in both pipes after faint pulses in the collectors [Pa]."""
    system = vee.exhausts[name].network(vee.engine)
    keep = [n for n in system.ducts if n.startswith(("collector", "pipe", "h-pipe"))]
    net = ws.Network({n: system.ducts[n] for n in keep}, {
        n: node for n, node in system.nodes.items() if n.startswith(("h-pipe", "x-pipe"))
        or (n.startswith("step") and "collector" in n)})
    for bank in (1, 2):
        net = net.with_node(f"in {bank}", ws.AnechoicEnd(f"collector bank {bank}.start"))
        net = net.with_node(f"out {bank}", ws.AnechoicEnd(f"pipe bank {bank}.end"))
    air = ws.PerfectGas()
    p0, T0 = 101325.0, 298.15
    impedance = p0 / (air.R(0.0, 0.0) * T0) * air.sound_speed(T0)

    def pulse(amplitude):
        def start(x):
            dp = amplitude * np.exp(-(((x - 0.2) / 0.09) ** 2))
            return p0 + dp, dp / impedance, T0 * (1.0 + 0.4 / 1.4 * dp / p0), "air"
        return start

    initial = {f"collector bank {bank}": pulse(kick) for bank, kick in enumerate(kicks, start=1)}
    run = ws.simulate(net, 2.4e-3, initial=initial, samples=200, gas=air,
                      settings=ws.Settings(cell_length=0.005, friction=False))
    there = [run.trace("pressure", f"pipe bank {bank}", 0.1).values - p0 for bank in (1, 2)]
    return [float(values[np.argmax(np.abs(values))]) for values in there]


def test_h_pipe_passes_nothing_between_banks_that_pulse_together(vee):
    """By mirror symmetry nothing runs through the tube, which is then a short closed branch."""
    one, other = banks(vee, "H", (20.0, 20.0))
    assert one == pytest.approx(other, rel=1e-9)


def test_h_pipe_splits_a_wave_of_one_bank_by_the_areas(vee):
    """Long waves at a branch: the pressure 2 A1 / (A1 + A2 + A3) goes on into both.

    Any textbook of acoustics, such as Kinsler and Frey, Fundamentals of Acoustics, on branches.
    """
    straight, tube = 0.050**2, 0.044**2
    onward, across = 2 * straight / (2 * straight + tube), 2 * tube / (2 * straight + tube)
    one, other = banks(vee, "H", (20.0, 0.0))
    assert one == pytest.approx(20.0 * onward, rel=0.03)
    assert other == pytest.approx(20.0 * onward * across, rel=0.06)


def test_x_pipe_gives_a_wave_of_one_bank_to_both(vee):
    """Four equal branches: half the pressure goes into each of the other three."""
    one, other = banks(vee, "X", (20.0, 0.0))
    assert (one, other) == pytest.approx((10.0, 10.0), rel=0.04)
    both = banks(vee, "X", (20.0, 20.0))
    assert both[0] == pytest.approx(one + other, rel=1e-3)  # faint waves add up


# --- engines that nobody guesses ------------------------------------------------------------------


def test_engine_without_a_firing_order_is_refused_and_told_what_to_write(tmp_path):
    (tmp_path / "vee.toml").write_text(
        VEE.replace("firing_order = [1, 2, 3, 4, 5, 6]", "").replace(
            "banks = [1, 2, 1, 2, 1, 2]", ""))
    with pytest.raises(InputError) as caught:
        ws.load(tmp_path / "vee.toml")
    assert "engine: Engine: missing field firing_order ((1,) for a single" in str(caught.value)


@pytest.mark.parametrize(("changes", "message"), [
    ({"firing_order": (1, 5, 3, 6, 2, 4)},
     "banks = None must be stated with 6 cylinders: (1, 1, 1, 1, 1, 1) if all are in one bank, or "
     "such as (1, 2, 1, 2, 1, 2) in a V."),
    ({"firing_order": (1, 2), "firing_intervals_deg": (270.0, 450.0)},
     "banks = None must be stated with uneven firing: (1, 1) if all are in one bank, or such as "
     "(1, 2) in a V."),
])
def test_banks_are_asked_for_where_the_order_does_not_say_them(changes, message):
    with pytest.raises(InputError) as caught:
        STUDY.engine.replace(**changes)
    assert str(caught.value) == f"Engine: {message}"


def test_banks_of_even_fours_and_less_need_not_be_said():
    for order in ((1,), (1, 2), (1, 3, 2), (1, 3, 4, 2)):
        engine = STUDY.engine.replace(firing_order=order)
        assert engine.replace(banks=(1,) * len(order)).cylinders == len(order)
