"""From engine and exhaust to a checked network."""

import numpy as np
import pytest

from wavesim.descriptions.assemble import assemble
from wavesim.descriptions.exhaust import Exhaust
from wavesim.descriptions.nodes import AreaStep, Junction, OpenEnd, Throttle, ValvePort, Volume
from wavesim.descriptions.pipes import Pipe
from wavesim.descriptions.study import demo_path, load
from wavesim.errors import InputError

STUDY = load(demo_path("collector"))
ENGINE = STUDY.engine
EXHAUST = STUDY.exhausts[STUDY.base]


def test_names_say_what_things_are():
    network = assemble(ENGINE, EXHAUST)
    per_cylinder = ("intake port", "runner", "exhaust port", "primary")
    expected = {f"{name} {n}" for name in per_cylinder for n in range(1, 5)}
    assert set(network.ducts) == expected | {"inlet", "throttle body", "collector"}
    for name, kind in {
        "air inlet": OpenEnd,
        "throttle": Throttle,
        "plenum": Volume,
        "intake valve 3": ValvePort,
        "exhaust valve 1": ValvePort,
        "step exhaust port 2 - primary 2": AreaStep,
        "merge": Junction,
        "outlet": OpenEnd,
    }.items():
        assert isinstance(network.nodes[name], kind)


def test_gas_flows_from_start_to_end_everywhere():
    network = assemble(ENGINE, EXHAUST)
    assert network.nodes["air inlet"].ends == (("inlet", "start"),)
    assert network.nodes["intake valve 1"].ends == (("intake port 1", "end"),)
    assert network.nodes["exhaust valve 1"].ends == (("exhaust port 1", "start"),)
    assert network.nodes["merge"].ends[-1] == ("collector", "start")
    assert network.nodes["outlet"].ends == (("collector", "end"),)


def test_only_the_air_inlet_draws_fresh_charge():
    network = assemble(ENGINE, EXHAUST)
    assert network.nodes["air inlet"].intake and network.nodes["air inlet"].inflow_loss == 0.05
    assert not network.nodes["outlet"].intake


def test_primaries_lean_to_the_axis_of_the_collector_by_the_stated_angle():
    vectors = assemble(ENGINE, EXHAUST).nodes["merge"].unit_vectors
    axis = vectors[-1]
    np.testing.assert_allclose(-vectors[:4] @ axis, np.cos(np.radians(12.0)), rtol=1e-12)
    np.testing.assert_allclose(vectors[:4].sum(axis=0)[:2], 0.0, atol=1e-12)


def test_line_with_jumps_becomes_several_ducts_joined_by_steps():
    stepped = EXHAUST.replace(primary=(Pipe(0.3, 0.038), Pipe(0.4, 0.041), Pipe(0.1, 0.041)))
    network = assemble(ENGINE, stepped)
    assert network.ducts["primary 1/2"].length == pytest.approx(0.5)
    step = network.nodes["step primary 1/1 - primary 1/2"]
    assert step.ends == (("primary 1/1", "end"), ("primary 1/2", "start"))
    assert network.nodes["merge"].ends[0] == ("primary 1/2", "end")


def test_collector_pipe_and_tailpipe_follow_one_another():
    full = EXHAUST.replace(pipe=Pipe(1.0, 0.058), tailpipe=Pipe(0.5, 0.05))
    network = assemble(ENGINE, full)
    assert {"step collector - pipe", "step pipe - tailpipe"} <= set(network.nodes)
    assert network.nodes["outlet"].ends == (("tailpipe", "end"),)


def test_individual_stacks_end_in_the_open_air():
    stacks = Exhaust(primary=Pipe(0.7, 0.038), merge=None)
    network = assemble(ENGINE, stacks)
    assert "merge" not in network.nodes
    assert network.nodes["outlet 3"].ends == (("primary 3", "end"),)


def test_banks_have_a_merge_and_an_outlet_each():
    network = assemble(ENGINE.replace(banks=(1, 1, 2, 2)), EXHAUST)
    assert network.nodes["merge bank 2"].ends == (
        ("primary 3", "end"), ("primary 4", "end"), ("collector bank 2", "start"))  # fmt: skip
    assert network.nodes["outlet bank 1"].ends == (("collector bank 1", "end"),)
    assert "outlet" not in network.nodes


def test_single_cylinder_needs_no_merge():
    network = assemble(ENGINE.replace(firing_order=(1,)), EXHAUST)
    assert "step primary 1 - collector" in network.nodes and "merge" not in network.nodes


def test_primaries_may_differ_from_cylinder_to_cylinder():
    lengths = (0.70, 0.72, 0.74, 0.76)
    own = EXHAUST.replace(primary=None, primaries=[Pipe(x, 0.038) for x in lengths])
    network = assemble(ENGINE, own)
    assert [network.ducts[f"primary {n}"].length for n in range(1, 5)] == list(lengths)
    with pytest.raises(InputError, match="primaries has 4 lines, must have 2, one per cylinder"):
        assemble(ENGINE.replace(firing_order=(1, 2)), own)


def test_throttle_wider_than_its_inlet_is_named():
    intake = ENGINE.intake.replace(throttle_diameter=0.08)
    with pytest.raises(InputError, match="'throttle': diameter = 0.08 m .* 'inlet.end'.* 0.07 m"):
        assemble(ENGINE.replace(intake=intake), EXHAUST)
