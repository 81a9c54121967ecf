"""Wrong arguments at every public door: an InputError that names the argument, and nothing else."""

import dataclasses
import random
from functools import partial

import examples_of_all_kinds as examples
import numpy as np
import pytest
from doors import OTHER, SWEEP, WRONG, doors
from store_worker import invented_point

import wavesim as ws
import wavesim.many.store
import wavesim.many.work
import wavesim.march.states
from wavesim.descriptions.pipes import Part
from wavesim.fields.description import Description

OWN = "a function"  # of the user's, whose errors are the user's


@pytest.fixture(scope="module")
def rooms(tmp_path_factory):
    """All doors, behind which results are invented."""
    folder = tmp_path_factory.mktemp("doors")
    (folder / "t.csv").write_text("rpm,deg\n1,2\n2,3\n")
    with pytest.MonkeyPatch.context() as patch:
        for module in (wavesim.many.work, wavesim.many.store):
            patch.setattr(module, "run_point", lambda e, x, rpm, **_: invented_point(3000.0))
        for name in ("begin", "states"):
            patch.setattr(wavesim.march.states.Search, name, lambda *_: [])
            patch.setattr(wavesim.march.states.Search, "notes", (), raising=False)
        yield doors(folder)


def names_of_doors():
    import tempfile
    from pathlib import Path

    with tempfile.TemporaryDirectory() as folder:
        return list(doors(Path(folder)))


def is_told(action):
    """True if the action raises one sentence of ours; False if nothing is raised."""
    try:
        action()
    except ws.WavesimError as error:
        message = str(error)
        assert len(message) < 300 and message[-1] in ".?" and message.isprintable(), message
        return True
    return False


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("door", names_of_doors())
def test_wrong_argument_at_a_public_door_is_told(rooms, door, monkeypatch, tmp_path):
    """With every argument in turn; what happens to be right is no fault."""
    monkeypatch.chdir(tmp_path)  # "wrong" is a good name for a file
    function, arguments = rooms[door]
    told = 0
    for name in arguments:
        for what, wrong in WRONG.items():
            if (what, name) != (OWN, "objective"):
                told += is_told(partial(function, **arguments | {name: wrong}))
    assert told >= len(arguments) * len(WRONG) // 3 or door == "restore"  # plain data are data


@pytest.mark.parametrize(("action", "fragments"), [
    (lambda: ws.run_point("x", "y", 3000), ["engine = 'x' (str)", "type Engine"]),
    (lambda: ws.speed_sweep(None, None, [1000]), ["exhaust = None (NoneType)", "type Exhaust"]),
    (lambda: ws.run_study("study.toml"), ["run_study: study = 'study.toml' (str)", "type Study"]),
    (lambda: ws.simulate(5, 1.0), ["simulate: network = 5 (int)", "type Network"]),
    (lambda: ws.compare(SWEEP, "b"), ["compare: b = 'b'", "such as a Sweep"]),
    (lambda: ws.compare(SWEEP, OTHER, bands=5), ["compare: bands = 5", "sequence of pairs"]),
    (lambda: ws.load(None), ["load: path = None", "must be a str or a Path"]),
    (lambda: ws.save("study", "a.toml"), ["save: study = 'study' (str)", "type Study"]),
    (lambda: ws.Store(7), ["Store: path = 7", "must be a str or a Path"]),
    (lambda: ws.Sweep.load(b"a"), ["Sweep: path = b'a'", "must be a str or a Path"]),
    (lambda: SWEEP["3000"], ["Sweep: quantity = '3000'"]),
    (lambda: SWEEP[None], ["Sweep: no point at None rev/min"]),
    (lambda: ws.plots.save_figure("a", "b.png"), ["save_figure: ax = 'a'", "matplotlib Axes"]),
    (lambda: ws.Pipe("0.75", 0.04), ["Pipe: length = '0.75' is not a number (but of type str)"]),
    (lambda: ws.Pipe(0.75, [0.04]), ["diameter = [0.04] is not a number (but of type list)"]),
    (lambda: ws.Settings(friction="yes"), ["friction = 'yes' must be one of True, False"]),
    (lambda: ws.Exhaust(primary=ws.Pipe(0.5, 0.04), name=7), ["name = 7 must be a text"]),
])
def test_wrong_type_is_named_with_its_argument(action, fragments):
    with pytest.raises(ws.InputError) as caught:
        action()
    for fragment in fragments:
        assert fragment in str(caught.value), str(caught.value)


# --- constructors ---------------------------------------------------------------------------------


def all_kinds():
    """One example of every kind of description, by its class."""
    found = {}

    def walk(thing):
        if isinstance(thing, Description):
            found[type(thing)] = thing
            thing = [getattr(thing, field.name) for field in dataclasses.fields(thing)]
        if isinstance(thing, dict):
            thing = list(thing.values())
        if isinstance(thing, (tuple, list)):
            for item in thing:
                walk(item)

    walk([examples.PARTS, examples.NODES, examples.OTHERS, examples.WALL, examples.STUDY])
    return found


KINDS = all_kinds()


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_wrong_value_of_any_field_is_told(kind):
    for field in dataclasses.fields(kind):
        for wrong in WRONG.values():
            is_told(partial(KINDS[kind].replace, **{field.name: wrong}))


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_misspelt_field_of_a_constructor_is_told_with_the_nearest(kind):
    chance = random.Random(kind.__name__)
    names = [field.name for field in dataclasses.fields(kind)]
    for name in names:
        if len(name) < 4:
            continue
        i = chance.randrange(1, len(name) - 1)
        slip = name[:i] + name[i + 1 :]
        with pytest.raises(ws.InputError) as caught:
            kind(**{slip: 1.0})
        message = str(caught.value)
        assert f"{kind.__name__}: no field {slip!r}" in message and "did you mean '" in message


def test_fields_that_are_missing_or_too_many_or_twice_are_told():
    with pytest.raises(ws.InputError, match="Pipe: missing field length."):
        ws.Pipe()
    with pytest.raises(ws.InputError, match="Pipe: missing field diameter."):
        ws.Pipe(0.5)
    with pytest.raises(ws.InputError, match="Bend: missing field angle_deg"):
        ws.Bend(0.05, radius=0.1)
    with pytest.raises(ws.InputError, match="Settings: 1 values without a name, at most 0"):
        ws.Settings(0.01)
    with pytest.raises(ws.InputError, match="Pipe: the field 'length' is given twice."):
        ws.Pipe(0.5, 0.04, length=0.5)
    with pytest.raises(ws.InputError, match="Part: only its kinds can be made, such as Tube"):
        Part()


def test_all_faults_of_a_description_are_told_in_one_go():
    with pytest.raises(ws.InputError) as caught:
        ws.Pipe(-0.5, 42, wall_temperature="hot")
    lines = str(caught.value).splitlines()
    assert lines[0] == "Pipe has 3 faults:"
    assert [line[:4] for line in lines[1:]] == ["(1) ", "(2) ", "(3) "]
    assert "length = -0.5 m" in lines[1] and "42 mm is 0.042" in lines[2] and "'hot'" in lines[3]


def test_help_shows_the_fields_of_a_description():
    import inspect

    assert list(inspect.signature(ws.Merge).parameters) == [
        field.name for field in dataclasses.fields(ws.Merge)
    ]
    assert np.all([str(inspect.signature(kind)) != "(*values, **fields)" for kind in KINDS])
