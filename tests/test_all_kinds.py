"""Every kind of part, node and description keeps the laws and habits of its family.

The kinds are found in the package, their examples stand in `examples_of_all_kinds.py`: whoever adds
a kind gets these tests by adding an example, and a kind without one fails by name.
"""

import dataclasses
import inspect
import json
import math
import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from case_conservation import books, mach_number, run_model
from examples_of_all_kinds import CELL, ENGINE, NODES, OTHERS, P0, PARTS, T0, network_of

import wavesim as ws
from wavesim.arrays.compile import FILL, compile_network, fill_store
from wavesim.descriptions import lines
from wavesim.descriptions.nodes import Node
from wavesim.descriptions.pipes import Amounts, Part
from wavesim.errors import InputError
from wavesim.fields.description import Description, describe, restore
from wavesim.fields.toml_form import build, plain, toml_text
from wavesim.kernels import cylinder
from wavesim.kernels import flat as f
from wavesim.march.advance import march_to
from wavesim.march.books import outer_ends
from wavesim.march.cycles import restart_of, take_over
from wavesim.march.prolong import prolong
from wavesim.results.bill import DEFAULT_WALL

GASES = {"perfect": ws.PerfectGas(), "engine": ws.EngineGas()}
SETTINGS = ws.Settings(cell_length=CELL)
RPM, OPEN, TURN = 3000.0, 360.0, 20.0  # an engine turns from where its valves overlap, [deg]
DURATION = TURN / (6.0 * RPM)  # [s]
EXAMPLES = PARTS | NODES | OTHERS


def kinds_of(base):
    """Concrete classes of the package below one class."""
    for kind in base.__subclasses__():
        if dataclasses.is_dataclass(kind) and kind.__module__.startswith("wavesim."):
            yield kind
        yield from kinds_of(kind)


def examples_of(kind):
    """Examples of a kind; one without is named."""
    if kind not in EXAMPLES:
        pytest.fail(f"{kind.__name__} has no example: add one to tests/examples_of_all_kinds.py")
    return EXAMPLES[kind]


def numbered(kinds):
    """Parameters (kind, number of its example) for all kinds; one at least for each."""
    kinds = sorted(set(kinds), key=lambda kind: kind.__name__)
    return [
        pytest.param(kind, i, id=f"{kind.__name__}-{i}")
        for kind in kinds for i in range(len(EXAMPLES.get(kind, (None,))))
    ]


KINDS = sorted(set(kinds_of(Description)), key=lambda kind: kind.__name__)
each_kind = pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
each_part = pytest.mark.parametrize(("kind", "number"), numbered(kinds_of(Part)))
each_element = pytest.mark.parametrize(
    ("kind", "number"), numbered([*kinds_of(Part), *kinds_of(Node)])
)


# --- the walk itself ---------------------------------------------------------------------------


def test_kind_without_an_example_is_named():
    class Whistle(Part):
        """A kind that nobody has an example of."""

    with pytest.raises(pytest.fail.Exception, match="Whistle has no example"):
        examples_of(Whistle)


def test_every_part_may_stand_in_a_study_and_every_element_is_public():
    assert set(kinds_of(Part)) == set(lines.PARTS)
    public = {getattr(ws, name) for name in ws.__all__ if isinstance(getattr(ws, name), type)}
    assert public >= {*kinds_of(Part), *kinds_of(Node)}


@pytest.mark.parametrize("kind", [*PARTS, *NODES], ids=lambda kind: kind.__name__)
def test_examples_state_every_field_otherwise_than_its_default(kind):
    examples = [one[0] if isinstance(one, tuple) else one for one in examples_of(kind)]
    for field in fields(kind):
        assert any(getattr(one, field.name) != field.default for one in examples), field.name


# --- gas ---------------------------------------------------------------------------------------


def model_of(example, gas, start, turns=False):
    """The network of an example, compiled; with valves it has an engine of one cylinder.

    Its piston stands, or turns on from, where both valves are open.
    """
    network = network_of(example)
    valves = any(isinstance(node, ws.ValvePort) for node in network.nodes.values())
    model = compile_network(
        network, gas, SETTINGS, engine=ENGINE if valves else None,
        rpm=RPM if valves and turns else None, initial=start(network),
    )
    if valves and turns:
        model.state.clock[f.TIME] = OPEN / model.net.options[f.OMEGA_DEG]
    elif valves:
        model.net.cyl_par[:, f.PHASE] = -OPEN
    return model


def cells_of(model):
    """Indices of the cells inside all ducts."""
    return np.concatenate([np.arange(lo, hi) for lo, hi in model.ducts.values()])


def rest(network):
    """Still burned gas of one pressure and temperature."""
    return dict.fromkeys(network.ducts, (P0, 0.0, T0, "burned"))


def pulse(network):
    """Hot burned gas in the first duct, from twice the pressure downward; the last is all fresh."""
    first, last = list(network.ducts)[0], list(network.ducts)[-1]
    length = network.ducts[first].length
    air = dict.fromkeys(network.ducts, (P0, 0.0, T0, "air"))
    hot = {first: lambda x: (P0 * (2.0 - x / length), 0.0, 800.0, "burned")}
    return air | {last: (P0, 0.0, 400.0, "fresh")} | hot


@pytest.mark.parametrize("gas", GASES)
@each_element
def test_gas_at_rest_stays_at_rest(kind, number, gas):
    model = model_of(examples_of(kind)[number], GASES[gas], rest)
    model.net.options[f.HEAT_ON] = model.net.cyl_par[:, f.HEAT_MODEL_FACTOR] = 0.0
    for row in np.flatnonzero(model.net.store_int[:, f.STORE_KIND] != f.AMBIENT):
        volume = model.net.store_volume[row]
        if model.net.store_int[row, f.STORE_KIND] == f.CYLINDER:
            volume = cylinder.volume(model.net.cyl_par[0], 0.0)
        fill_store(model, row, P0, T0, *FILL["burned"], volume)
    _, steps = run_model(model, 1e9, 1000)
    assert steps == 1000
    assert mach_number(model) < 1e-12


def marched(kind, number, gas):
    """Model of an example after its pulse, and what its books held before."""
    model = model_of(EXAMPLES[kind][number], GASES[gas], pulse, turns=True)
    before = books(model)
    march_to(model, model.state.clock[f.TIME] + DURATION, 10_000)
    return model, before


@pytest.mark.parametrize("gas", GASES)
@each_element
def test_books_close_over_a_pulse(kind, number, gas):
    """Mass, energy, fresh charge and burned gas against what left, did work or passed the walls."""
    examples_of(kind)
    model, before = marched(kind, number, gas)
    left = model.record.end_sum[outer_ends(model)][
        :, [f.OUT_MASS, f.OUT_ENERGY, f.OUT_FRESH, f.OUT_BURNED]
    ].sum(axis=0)
    sums = model.record.cyl_sum.sum(axis=0)
    heat = model.record.wall[f.GAIN, cells_of(model)].sum()
    heat -= sums[f.WALL_LOSS]  # nothing burns at these angles
    work = sums[f.WORK_0 : f.WORK_3 + 1].sum()
    missing = books(model) - before + left - [0.0, heat - work, 0.0, 0.0]
    scale = np.abs(before[[0, 1, 0, 0]])
    assert np.abs(missing / scale).max() < 1e-12
    assert mach_number(model) > 1e-4  # something moves


# --- without the compiler ----------------------------------------------------------------------


def outcome(kind, number):
    """Last state of a march as lists."""
    model, _ = marched(kind, number, "engine")
    state = {"cells": model.state.U[:, cells_of(model)], "end": model.state.end.T,
             "store": model.state.store[:, : f.ST + 1].T, "holes": [model.state.hole_u]}
    return {name: np.asarray(rows).tolist() for name, rows in state.items()}


SCRIPT = """
import json, sys
sys.path[:0] = json.loads(sys.argv[1])
import numba
from test_all_kinds import EXAMPLES, NODES, PARTS, outcome
assert numba.config.DISABLE_JIT
print(json.dumps({f"{kind.__name__} {i}": outcome(kind, i)
                  for kind in PARTS | NODES for i in range(len(EXAMPLES[kind]))}))
"""


@pytest.fixture(scope="module")
def interpreted():
    """Outcomes of all examples in a fresh Python process with the compiler switched off."""
    here = Path(__file__).parent
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, json.dumps([str(here), str(here.parent / "validation")])],
        env={**os.environ, "NUMBA_DISABLE_JIT": "1"}, capture_output=True, text=True, timeout=300,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return json.loads(done.stdout)


#: Rows with fresh charge and burned gas, whose round-off is that of the whole in row 0.
PARTS_OF_GAS = {"cells": (f.Y1, f.Y2), "store": (f.SF, f.SB)}
#: Rows of mass fractions: a small one has the round-off of the whole, which is 1.
SIZES = {("end", row): 1.0 for row in (f.ES_YF, f.ES_YB, f.ES_CAME_YF, f.ES_CAME_YB)}


@each_element
def test_same_without_the_compiler(interpreted, kind, number):
    examples_of(kind)
    plain_python = interpreted[f"{kind.__name__} {number}"]
    for name, rows in outcome(kind, number).items():
        parts = PARTS_OF_GAS.get(name, ())
        pairs = zip(np.array(rows), np.array(plain_python[name]), strict=True)
        for row, (ours, theirs) in enumerate(pairs):
            scale = np.abs(rows[0] if row in parts else ours).max(initial=0.0)
            scale = SIZES.get((name, row), scale)
            np.testing.assert_allclose(theirs, ours, rtol=0.0, atol=1e-12 * scale, err_msg=name)


# --- what the next run takes over ----------------------------------------------------------------

#: Tables that begin anew on another mesh: the gas in the holes, which belongs to cells, the clock
#: and the plan of steps.
ANEW = {"hole_u", "clock", "plan"}


def engine_model(cell_length, seed):
    """An engine of one cylinder with a silencer, its state full of numbers, even in the cells."""
    exhaust = ws.Exhaust(
        primary=ws.Pipe(0.3, 0.04), collector=ws.Pipe(0.2, 0.05),
        pipe=ws.PerforatedSilencer(0.2, 0.05, case_diameter=0.1), tailpipe=ws.Pipe(0.04, 0.05),
    )
    model = compile_network(
        ws.assemble(ENGINE, exhaust), GASES["engine"], ws.Settings(cell_length=cell_length),
        engine=ENGINE, rpm=RPM,
    )
    numbers = np.random.default_rng(seed)
    for name, table in model.state._asdict().items():
        assert table.size, f"State.{name} is empty: put what fills it into this exhaust"
        even = name in ("U", "T")
        table[...] = numbers.uniform(1.0, 2.0, 1 if even else table.shape)
    return model


@pytest.mark.parametrize("table", f.State._fields)
def test_finer_mesh_takes_over_every_table_of_the_state(table):
    coarse, fine = engine_model(0.05, seed=1), engine_model(0.016, seed=2)
    ours, theirs = (getattr(model.state, table) for model in (fine, coarse))
    before = ours.copy()
    prolong(coarse, fine)
    if table in ("U", "T"):
        ours, theirs = ours[..., cells_of(fine)], theirs.flat[0]
    elif table == "end":  # a seam of one mesh may be a node of the other
        assert coarse.ends != fine.ends
        both = sorted(fine.ends.keys() & coarse.ends.keys())
        ours = ours[[fine.ends[end] for end in both]]
        theirs = theirs[[coarse.ends[end] for end in both]]
    np.testing.assert_array_equal(ours, before if table in ANEW else theirs)


@pytest.mark.parametrize("table", f.State._fields)
def test_restart_takes_over_every_table_of_the_state_but_the_plan(table):
    before, after = (engine_model(0.02, seed) for seed in (1, 2))
    own = after.state.plan.copy()  # whose slices belong to its speed
    take_over(after, SimpleNamespace(restart=restart_of(before)))
    taken = own if table == "plan" else getattr(before.state, table)
    np.testing.assert_array_equal(getattr(after.state, table), taken)


# --- bill --------------------------------------------------------------------------------------


@each_part
def test_bill_counts_what_the_solver_marches(kind, number):
    """Length along the line and gas volume against the ducts and volumes that the part becomes."""
    part = examples_of(kind)[number]
    if hasattr(part, "end_correction"):  # moves with the gas, is no metal
        part = part.replace(end_correction=0.0)
    network = network_of(part)
    model = compile_network(network, GASES["engine"], SETTINGS)
    held = model.net.cells[f.VOL, cells_of(model)].sum() + model.net.store_volume.sum()
    ends = sum(network.ducts[name].volume() for name in ("inlet", "outlet"))
    behind = {node.ends[0][0]: node.ends[-1][0] for node in network.nodes.values()
              if len(node.ends) > 1}
    length, duct = 0.0, "inlet"
    while duct != "outlet":
        duct = behind[duct]
        length += network.ducts[duct].length
    amounts = part.amounts(DEFAULT_WALL)
    assert amounts.gas_volume == pytest.approx(held - ends, rel=1e-9, abs=1e-12)
    assert amounts.length == pytest.approx(length - network.ducts["outlet"].length, abs=1e-12)
    assert part.adds_length == (amounts.length > 0.0)


@each_part
def test_bill_has_a_row_for_every_part(kind, number):
    part = examples_of(kind)[number]
    pipe = ws.Pipe(0.3, 0.05)
    bill = ws.bill(ws.Exhaust(primary=pipe, collector=(pipe, part, pipe)), 1)
    row = bill.rows[2]
    assert (row.line, row.part, row.number) == ("collector", kind.__name__, 2)
    assert row.amounts == part.amounts(DEFAULT_WALL) and len(row.amounts) == len(Amounts())
    assert all(math.isfinite(amount) and amount >= 0.0 for amount in row.amounts)
    assert (row.amounts.tube_mass + row.amounts.silencer_mass > 0.0) == (row.amounts.gas_volume > 0)
    assert f"collector, part 2: {kind.__name__}" in bill.summary()


# --- plain data --------------------------------------------------------------------------------


def descriptions(kind):
    """Examples of a kind, those in a group of nodes too."""
    groups = [one if isinstance(one, tuple) else (one,) for one in examples_of(kind)]
    return [one for group in groups for one in group if type(one) is kind]


@each_kind
def test_plain_data_lead_back_to_the_same_description(kind):
    for one in descriptions(kind):
        assert restore(json.loads(json.dumps(describe(one)))) == one


@pytest.mark.parametrize(
    "kind", [kind for kind in KINDS if kind is not ws.Study],  # which has a file of its own
    ids=lambda kind: kind.__name__,
)
def test_toml_leads_back_to_the_same_description(kind, tmp_path):
    """A Network with a node of every kind among them."""
    for one in descriptions(kind):
        table = tomllib.loads(toml_text(plain(one)))
        assert build(type(one), table, tmp_path, "table") == one


@each_part
def test_part_in_a_line_of_a_study_file_is_found_by_its_word(kind, number, tmp_path):
    pipe = ws.Pipe(0.3, 0.05)
    exhaust = ws.Exhaust(primary=pipe, collector=(pipe, examples_of(kind)[number], pipe))
    table = tomllib.loads(toml_text(plain(exhaust)))
    assert build(ws.Exhaust, table, tmp_path, "exhaust") == exhaust


# --- fields ------------------------------------------------------------------------------------


def fields(kind):
    return [field for field in dataclasses.fields(kind) if field.name != "_"]


def beyond(field, value):
    """Values outside the range of a field, and one that is no number, shaped like its value."""
    low, high = field.metadata["low"], field.metadata["high"]
    far = high - low
    step = max(1, round(1e-3 * far)) if isinstance(low, int) else 1e-3 * far
    wrong = (low - step, high + step, math.nan)
    return [(x, *value[1:]) for x in wrong] if isinstance(value, tuple) else wrong


@each_kind
def test_number_beyond_its_range_is_refused_by_name(kind):
    """Every field that states a range, below, above and not a number."""
    for one in descriptions(kind):
        for field in fields(kind):
            ranged = "low" in field.metadata
            for wrong in beyond(field, getattr(one, field.name)) if ranged else ():
                with pytest.raises(InputError, match=rf"{field.name}\b.* range ") as caught:
                    one.replace(**{field.name: wrong})
                assert kind.__name__ in str(caught.value)


def effect(example):
    """All that the solver and the bill get from a part or a group of nodes."""
    model = model_of(example, GASES["engine"], rest)
    arrays = (*model.net, *model.state, model.work.store)
    bill = None if isinstance(example, tuple) else example.amounts(DEFAULT_WALL)
    return bill, [np.asarray(array).tobytes() for array in arrays]


def shifted(example, field):
    """The example with a number of it, or the first of several, three tenths smaller."""
    one = example[0] if isinstance(example, tuple) else example
    value = getattr(one, field.name)
    if value is None:
        return example
    many = isinstance(value, tuple)
    off = 0.7 * (value[0] if many else value)
    one = one.replace(**{field.name: (off, *value[1:]) if many else off})
    return (one, *example[1:]) if isinstance(example, tuple) else one


@pytest.mark.parametrize("kind", [*PARTS, *NODES], ids=lambda kind: kind.__name__)
def test_every_number_reaches_the_solver_or_the_bill(kind):
    """In one of the examples: a nozzle's coefficient means nothing where there is none."""
    for field in fields(kind):
        if isinstance(field.metadata.get("low"), float):
            assert any(effect(one) != effect(shifted(one, field)) for one in examples_of(kind)), (
                field.name
            )


def paragraphs(kind):
    """Text of each parameter in the docstring of a class, by name."""
    doc = inspect.getdoc(kind)
    found = re.search(r"^Parameters\n-+\n(.*?)(?=^\S[^\n]*\n-+\n|\Z)", doc, re.S | re.M)
    said, names = {}, []
    for line in found[1].splitlines():
        if line and not line.startswith(" "):
            names = [name.strip() for name in line.split(" : ")[0].split(",")]
        for name in names:
            said[name] = said.get(name, "") + " " + line.strip()
    return said


#: Limits that are told by another field or rule instead of a number.
TOLD_OTHERWISE = {
    "Bend": {"radius"}, "Cam": {"checking_lift"}, "Chamber": {"end_diameter", "case_diameter"},
    "Engine": {"pin_offset"}, "FlowCoefficients": {"reverse"}, "Fuel": {"C", "H", "O"},
    "PerforatedSilencer": {"case_diameter"}, "Pipe": {"end_diameter"}, "Table": {"x", "y"},
    "Throttle": {"plate_angle_deg", "shaft_diameter"},
}  # fmt: skip


@each_kind
def test_docstring_tells_every_field_with_unit_and_range(kind):
    said, otherwise = paragraphs(kind), TOLD_OTHERWISE.get(kind.__name__, set())
    assert otherwise <= {field.name for field in fields(kind)}
    for field in fields(kind):
        assert field.name in said, f"{field.name} is not told"
        text, facts = said[field.name], field.metadata
        if re.search(r"\b[Aa]s for\b", text):
            continue
        if facts.get("unit", "1") != "1":
            assert re.search(rf"\[{re.escape(facts['unit'])}[\] ]", text), f"{field.name}: unit"
        told = {float(x) for x in re.findall(r"-?\d+\.?\d*(?:e-?\d+)?", text)}
        if "low" in facts and field.name not in otherwise:
            assert told >= {facts["low"], facts["high"]}, f"{field.name}: range"
