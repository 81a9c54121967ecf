"""Attacks drawn at random: what users, strangers and dying machines do to files and processes.

Every generator takes a `random.Random`, so that a seed tells an attack.
"""

import random
import string

from wavesim import demo_path

DEMO = demo_path("collector")
TABLES = {path.name: path.read_bytes() for path in DEMO.parent.glob("*.csv")}
STUDY = DEMO.read_text(encoding="utf-8")
NUMBERS = ("0", "-1", "1e999", "-inf", "nan", "9" * 5000, "0x7f", "1_000", "0,86", "1e-400", "86")
THINGS = (
    '"text"', "true", "[]", "{}", "[[1]]", "1979-05-27", '"none"', "[1, \"a\"]", "{csv = 5}",
    '{csv = "../../etc/passwd"}', '{csv = "/dev/zero"}', '"\\u0000"', '"\\u001b[2J"', "''",
    '"' + "x" * 2000 + '"', "[" * 60 + "]" * 60, "{a = " * 30 + "1" + "}" * 30, "-0.0",
    '{type = "Cam"}', '{part = "muffler"}', "[{}, {}]", "[" + "1, " * 5000 + "1]",
)  # fmt: skip
ENCODINGS = ("utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252", "utf-7",
             "shift_jis", "cp037")
NAMES = ("../x.csv", "/etc/passwd", "con", "a\0b", ".", "..", "", "x" * 300, "exhaust_flow.csv",
         "collector.toml", "~/x.csv", "\\\\server\\x", "file:///etc/passwd", "\u202egnp.csv")


# --- text -----------------------------------------------------------------------------------------


def _lines(chance, text):
    """The text as lines, and the number of one that says something."""
    lines = text.split("\n")
    telling = [i for i, line in enumerate(lines) if line.strip() and line.strip()[0] != "#"]
    return lines, chance.choice(telling or [0])


def _other_value(chance, text):
    lines, i = _lines(chance, text)
    key, equals, _ = lines[i].partition("=")
    lines[i] = f"{key}= {chance.choice(NUMBERS + THINGS)}" if equals else lines[i] * 2
    return "\n".join(lines)


def _misspelt(chance, text):
    lines, i = _lines(chance, text)
    at = chance.randrange(len(lines[i]) + 1)
    lines[i] = lines[i][:at] + chance.choice(string.printable) + lines[i][at + 1 :]
    return "\n".join(lines)


def _moved(chance, text):
    lines, i = _lines(chance, text)
    lines.insert(chance.randrange(len(lines)), lines[i])
    if chance.random() < 0.5:
        del lines[i]
    return "\n".join(lines)


def _cut(chance, text):
    return text[: chance.randrange(len(text))]


def _deep(chance, text):
    depth = chance.choice((50, 500, 3000, 20_000))
    return text + "\nx = " + chance.choice((
        "[" * depth + "]" * depth, "{a = " * depth + "1" + "}" * depth, "[" * depth,
    ))  # fmt: skip


def _long_path(chance, text):
    path = ".".join(chance.choice(("0", "*", "exhaust", "9" * 500)) for _ in range(
        chance.choice((2, 30, 3000))))
    return text.replace('"exhaust.collector.length"', f'"exhaust.{path}"')


def _other_file(chance, text):
    name = chance.choice(NAMES)
    quoted = "".join(f"\\u{ord(letter):04x}" for letter in name)
    return text.replace('"intake_lift.csv"', f'"{quoted}"')


def _other_variants(chance, text):
    more = chance.choice((
        "[[variants]]\nname = 5\nset = {}", "[[variants]]\nname = \"a\"\nset = 5",
        "[[variants]]\nname = \"a\"\nfrom = \"b\"\nset = {}", "[variants]\na = 1",
        "[[variants]]\nset = {\"engine\" = 5}\nname = \"a\"",
        "[[variants]]\nset = {\"exhaust\" = \"none\"}\nname = \"" + "n" * 900 + "\"",
        "[[variants]]\nset = {\"exhaust.collector.*.length\" = [1]}\nname = \"$\"",
    ))  # fmt: skip
    return f"{text}\n{more}\n"


TEXTS = (_other_value, _other_value, _misspelt, _moved, _cut, _deep, _long_path, _other_file,
         _other_variants)


def _bytes(chance, data):
    """Bytes flipped, cut out, doubled or strange."""
    data = bytearray(data)
    for _ in range(chance.choice((1, 1, 3, 30))):
        at = chance.randrange(len(data) + 1)
        how = chance.randrange(4)
        if how == 0 and at < len(data):
            data[at] ^= 1 << chance.randrange(8)
        elif how == 1:
            del data[at : at + chance.randrange(1, 200)]
        elif how == 2:
            data[at:at] = data[at : at + 50]
        else:
            data[at:at] = bytes(chance.randrange(256) for _ in range(chance.randrange(1, 9)))
    return bytes(data)


def hostile_study(chance):
    """Bytes of a study file with one to three faults."""
    text = STUDY
    for _ in range(chance.choice((1, 1, 2, 3))):
        text = chance.choice(TEXTS)(chance, text) or "x"
    data = text.encode("utf-8", "surrogatepass")
    if chance.random() < 0.2:
        data = text.encode(chance.choice(ENCODINGS), "replace")
    return _bytes(chance, data) if chance.random() < 0.2 else data


def hostile_table(chance, data):
    """Bytes of a table with a fault."""
    text = data.decode()
    how = chance.randrange(9)
    if how == 0:
        text = text.replace(",", chance.choice((";", "\t", " ", ",,", "|")))
    elif how == 1:
        text = text.replace(",", ";").replace(".", ",")
    elif how == 2:
        text = text.replace(".", ",")
    elif how == 3:
        lines, i = _lines(chance, text)
        lines[i] = chance.choice((lines[0], "x,y,z", "1" * 200_000, '"', ",", "1,2,3,4", "nan,nan"))
        text = "\n".join(lines)
    elif how == 4:
        text = _cut(chance, text)
    elif how == 5:
        text = "\n".join([chance.choice((" ", "a,a", "9,9", "#", "lift_mm;lift_mm")),
                          *text.split("\n")[1:]])
    elif how == 6:
        return text.encode(chance.choice(ENCODINGS), "replace")
    elif how == 7:
        return chance.choice((b"", b"\0" * 100, bytes(range(256)), b"\xff\xfe", b"PK\3\4"))
    return _bytes(chance, text.encode())


def write_hostile(chance, folder):
    """A study with its tables in a folder, some of them hostile; returns the path of the study."""
    folder.mkdir()
    for name, data in TABLES.items():
        (folder / name).write_bytes(data)
    path = folder / "study.toml"
    if chance.random() < 0.65:
        path.write_bytes(hostile_study(chance))
    else:
        path.write_text(STUDY, encoding="utf-8")
        name = chance.choice(sorted(TABLES))
        (folder / name).write_bytes(hostile_table(chance, TABLES[name]))
    return path


# --- damage ---------------------------------------------------------------------------------------


def damage(chance, path):
    """Damage a file in one of the ways of disks, editors and other programs."""
    data = path.read_bytes() or b"empty"
    how = chance.randrange(6)
    if how == 0:
        data = data[: chance.randrange(len(data))]
    elif how == 1:
        data = _bytes(chance, data)
    elif how == 2:
        data = bytes(len(data))
    elif how == 3:
        data = chance.choice((b"", b"text", b"PK\3\4", b"\x80\x04."))
    elif how == 4:
        at = chance.randrange(len(data))
        data = data[:at] + bytes(chance.randrange(1, 4000)) + data[at:]
    else:
        data = bytes(random.Random(chance.random()).randrange(256) for _ in range(1000))
    path.write_bytes(data)
