"""The workshop's words: errors offer ours, and the classes say theirs."""

import dataclasses

import pytest

import wavesim as ws
from wavesim.descriptions.study import demo_path, load
from wavesim.errors import InputError, nearest
from wavesim.fields import description
from wavesim.fields.description import Description, number, restore, vary
from wavesim.fields.toml_form import build
from wavesim.words import SYNONYMS, spoken

PIPE = ws.Pipe(0.75, 0.038)
EXHAUST = ws.Exhaust(primary=PIPE, collector=ws.Pipe(0.3, 0.05), pipe=ws.Pipe(1.0, 0.05))


def own_names():
    """All names of the library: public ones, classes of descriptions, their fields and choices."""
    kinds = filter(dataclasses.is_dataclass, description._KINDS.values())
    fields = [field for kind in kinds for field in dataclasses.fields(kind)]
    choices = [word for field in fields for word in field.metadata.get("choices", ())]
    return [*ws.__all__, *description._KINDS, *(field.name for field in fields), *choices,
            *ws.FUELS, *ws.QUANTITIES, "rpm"]


@pytest.mark.parametrize("word", SYNONYMS)
def test_synonym_leads_to_names_that_exist_and_is_none_itself(word):
    assert word == spoken(word)
    known = {spoken(name) for name in own_names()}
    assert set(SYNONYMS[word]) <= known


@pytest.mark.parametrize(
    ("kind", "word"),
    [
        (ws.HPipe, "H-pipe"), (ws.XPipe, "X-pipe"), (ws.PerforatedSilencer, "muffler"),
        (ws.Chamber, "muffler"), (ws.Exhaust, "header"), (ws.Merge, "header"),
        (ws.Merge, "Y-pipe"), (ws.Monolith, "Catalyst brick"),
    ],
)
def test_first_line_of_a_class_says_the_word_of_the_workshop(kind, word):
    assert word in kind.__doc__.splitlines()[0]


def from_table(kind, **table):
    return lambda: build(kind, table, demo_path("collector").parent, "exhaust")


@pytest.mark.parametrize(
    ("mistake", "offered"),
    [
        (from_table(ws.Exhaust, primary={"part": "muffler"}), "'perforated silencer' or 'chamber'"),
        (from_table(ws.Exhaust, primary={"part": "Catalyst-Brick"}), "'monolith'"),
        (from_table(ws.Exhaust, header={"length": 0.7}), "'primary'"),
        (from_table(ws.Exhaust, bank_link={"part": "h-pipe"}), "'HPipe'"),
        (from_table(ws.Exhaust, bank_link={"type": "X-pipe", "angle_deg": 20}), "'XPipe'"),
        (from_table(ws.Exhaust, bank_link={"type": "Crossing"}), "'XPipe'"),
        (from_table(ws.Exhaust, bank_link="crossover"), "'HPipe'"),
        (lambda: ws.Exhaust(header=PIPE), "'primary'"),
        (lambda: ws.Exhaust(primary=PIPE, x_pipe=ws.XPipe()), "'bank_link'"),
        (lambda: ws.Pipe(0.5, bore=0.04), "'diameter'"),
        (lambda: EXHAUST.replace(manifold=PIPE), "'primary'"),
        (lambda: vary(EXHAUST, "header.length", 0.8), "'primary'"),
        (lambda: ws.EngineGas("gas"), "'gasoline'"),
        (lambda: load(demo_path("collector")).engine.replace(fuel="gas"), "'gasoline'"),
        (lambda: ws.Cam(opens_deg=50, closes_deg=10, lift=0.009, lobe="poly"), "'medium'"),
        (lambda: restore({"type": "Muffler"}), "'PerforatedSilencer' or 'Chamber'"),
    ],
)
def test_error_offers_our_name_for_a_word_of_the_workshop(mistake, offered):
    with pytest.raises(InputError) as caught:
        mistake()
    assert str(caught.value).endswith(f"; did you mean {offered}?")


@pytest.mark.parametrize(
    ("word", "offered"),
    [("Muffler", "'PerforatedSilencer' or 'Chamber'"), ("Header", "'Exhaust'"),
     ("Crossing", "'XPipe'"), ("CatalystBrick", "'Monolith'"), ("sped_sweep", "'speed_sweep'")],
)
def test_front_door_offers_the_right_name_for_an_unknown_one(word, offered):
    with pytest.raises(AttributeError, match=f"no attribute '{word}'; did you mean {offered}"):
        getattr(ws, word)


def test_word_without_a_meaning_here_is_compared_by_its_letters():
    assert nearest("muffler", ["buffler", "pipe"]) == "; did you mean 'buffler'?"
    assert nearest("muffler", ["pipe"]) == "."


def test_petrol_is_gasoline_wherever_a_fuel_is_named():
    engine = load(demo_path("collector")).engine
    assert ws.EngineGas("petrol") == ws.EngineGas("gasoline")
    assert engine.replace(fuel="petrol") == engine.replace(fuel="gasoline")
    assert engine.replace(fuel="Petrol").fuel == engine.replace(fuel="Gasoline").fuel == "gasoline"
    gas = build(ws.EngineGas, {"fuel": "petrol"}, demo_path().parent, "gas")
    assert gas.fuel.name == "gasoline"
    assert vary(engine, "fuel", "petrol").fuel == "gasoline"
    scaling = ws.FlameScaling(residual=0.05, air_fuel_lambda=1.0, fuel="petrol")
    assert scaling.fuel == "gasoline"


def test_petrol_in_other_letters_is_not_taken_for_ethanol():
    assert "ethanol" in ws.FUELS
    assert nearest("Petrol", ws.FUELS) == "; did you mean 'gasoline'?"


def test_second_description_of_one_name_is_refused(monkeypatch):
    monkeypatch.setattr(description, "_KINDS", dict(description._KINDS))
    with pytest.raises(InputError, match="test_words describes a second 'Pipe' beside that of "
                                         "wavesim.descriptions.pipes"):
        type("Pipe", (Description,), {"__module__": __name__})
    assert description._KINDS["Pipe"] is ws.Pipe


def test_description_may_be_defined_again_in_the_same_place(monkeypatch):
    """As when a cell of a notebook is run once more."""
    monkeypatch.setattr(description, "_KINDS", dict(description._KINDS))

    def cell():
        @dataclasses.dataclass(frozen=True)
        class Flap(Description):
            diameter: float = number("m", 0.003, 0.5)

        return Flap

    first, second = cell(), cell()
    assert first is not second and description._KINDS["Flap"] is second
