"""Make the invented pulls of wavesim/data/pulls anew: `python notebooks/pulls.py [--truth]`.

Nobody measured them.  `truth.csv` holds what the library computes of the two exhausts of the study
"collector", for an engine that differs a little from that of the study, as a real one would: its
secrets are `ENGINE`.  `--truth` computes it anew, which takes a minute.  From it eight pulls are
made, four of each exhaust in turn, by adding what a dynamometer adds: the weather of the hour, a
level of each pull, scatter that is smooth over speed, noise from row to row, and drift while oil
and tyres warm up.
"""

import csv
import sys
from pathlib import Path

import numpy as np
from scipy.interpolate import CubicSpline

import wavesim as ws
from wavesim.descriptions.weather import Ambient

FOLDER = Path(ws.__file__).parent / "data" / "pulls"
SYSTEMS = ("short collector", "long collector")
#: What is different about the engine on the bench, by dotted path.
ENGINE = {"combustion.ca50_deg": 11.0, "friction.constant": 48000.0, "air_fuel_lambda": 0.90}
RPM = np.arange(2000.0, 7001.0, 250.0)
KEPT = ("torque", "air_fuel_lambda", "fuel_mass_flow", "exhaust_temperature")
STANDARD = "ISO 1585"
SEED, PULLS = 20, 8
#: Shares of torque: level of a pull, smooth scatter over 600 rev/min, noise, drift in the session.
LEVEL, SMOOTH, NOISE, DRIFT = 0.004, 0.003, 0.003, -0.008
HEAD = (("Engine speed", "1/min"), ("Torque", "Nm"), ("Power", "kW"), ("Lambda", "-"),
        ("Fuel flow", "kg/h"), ("Exhaust temp.", "°C"), ("Barometer", "mbar"),
        ("Inlet air", "°C"), ("Humidity", "%"))  # fmt: skip
REMARKS = (
    "INVENTED: computed by wavesim for the study \"collector\" and disturbed at random.",
    "No engine was run.  The script notebooks/pulls.py of wavesim makes these numbers.",
)


def compute():
    """Columns of the truth: both systems in the air of the standard."""
    study = ws.load(ws.demo_path("collector"))
    engine = study.engine
    for path, value in ENGINE.items():
        engine = ws.vary(engine, path, value)
    air = Ambient(pressure=99e3, temperature=298.15)
    columns = {"rpm": RPM}
    for name in SYSTEMS:
        sweep = ws.speed_sweep(engine, study.exhausts[name], RPM, ambient=air, name=name)
        columns |= {f"{quantity} {name}": sweep[quantity] for quantity in KEPT}
    return columns


def write_truth(columns):
    """The truth as a file, SI units."""
    with open(FOLDER / "truth.csv", "w", encoding="utf-8", newline="\n") as file:
        file.write("".join(f"# {remark}\n" for remark in REMARKS))
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(columns)
        rows.writerows([f"{value:.6g}" for value in row]
                       for row in zip(*columns.values(), strict=True))


def read_truth():
    """Columns of the file, by their heads."""
    lines = (FOLDER / "truth.csv").read_text(encoding="utf-8").splitlines()
    head, *rows = csv.reader(line for line in lines if not line.startswith("#"))
    return dict(zip(head, np.array(rows, dtype=float).T, strict=True))


def pulls(truth):
    """Pairs (name of the file, text) of the whole session."""
    rng = np.random.default_rng(SEED)
    for number in range(PULLS):
        name = SYSTEMS[number % 2]
        yield f"{number + 1}_{name.replace(' ', '_')}.csv", _text(number, _rows(
            {key: truth[f"{key} {name}"] for key in KEPT}, number, rng))


def _rows(curve, number, rng):
    """Rows of one pull in the units of HEAD."""
    rpm = np.round(RPM[0] + 100.0 * np.arange(51) + rng.uniform(-8.0, 8.0, 51))
    at = {key: CubicSpline(RPM, values)(rpm) for key, values in curve.items()}
    time = number / (PULLS - 1)
    kpa, kelvin, humidity = 98.9 - 0.25 * time, 295.0 + 5.0 * time, 0.48 - 0.06 * time
    kelvin = kelvin + 1.5 * (rpm - rpm[0]) / 5000.0  # the inlet warms up during a pull
    air = ws.correction_factor(STANDARD, 1e3 * kpa, kelvin, humidity)
    spread = np.exp(-0.5 * ((rpm[:, None] - rpm) / 600.0) ** 2) + 1e-9 * np.eye(rpm.size)
    share = LEVEL * rng.standard_normal() + DRIFT * time
    share = share + SMOOTH * np.linalg.cholesky(spread) @ rng.standard_normal(rpm.size)
    share += NOISE * rng.standard_normal(rpm.size)
    torque = at["torque"] / air * (1.0 + share)
    noise = 1.0 + 0.004 * rng.standard_normal((2, rpm.size))
    columns = (
        rpm, torque, torque * rpm * np.pi / 3e4, at["air_fuel_lambda"] * noise[0],
        3600.0 * at["fuel_mass_flow"] / air * noise[1],
        at["exhaust_temperature"] - 273.15 + 4.0 * rng.standard_normal(rpm.size),
        np.full(rpm.size, 10.0 * kpa), kelvin - 273.15, np.full(rpm.size, 100.0 * humidity),
    )
    return zip(*columns, strict=True)


def _text(number, rows):
    """A file as dynamometers write it: remarks, names, units, decimal commas."""
    digits = (0, 1, 2, 3, 2, 0, 1, 1, 0)
    lines = [f"# {remark}" for remark in REMARKS]
    lines += [f"# Pull {number + 1} of {PULLS}, {SYSTEMS[number % 2]}",
              *(";".join(words) for words in zip(*HEAD, strict=True))]
    lines += [";".join(f"{value:.{n}f}" for value, n in zip(row, digits, strict=True))
              .replace(".", ",") for row in rows]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    if "--truth" in sys.argv[1:]:
        write_truth(compute())
    for name, text in pulls(read_truth()):
        (FOLDER / name).write_text(text, encoding="utf-8", newline="\n")
