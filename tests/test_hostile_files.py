"""Study files and tables as they really come: read rightly, or refused in one short sentence."""

import os
import shutil
from pathlib import Path

import pytest

from wavesim import InputError, Table, demo_path, load
from wavesim.descriptions.study import files_of
from wavesim.front.app import main

DEMO = demo_path("collector").read_text(encoding="utf-8")
NAMED = DEMO.replace('name = "short collector"', 'name = "kürzer é"')
ENCODINGS = ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252",
             "latin-1"]
SECRET = "hunter2"


@pytest.fixture
def folder(tmp_path):
    """The demo study in a folder of its own."""
    return Path(shutil.copytree(demo_path("collector").parent, tmp_path / "study"))


@pytest.fixture
def write(folder):
    """Function that writes a study file beside the tables of the demo and loads it."""
    def load_written(content, **options):
        path = folder / "study.toml"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return load(path, **options)

    return load_written


def refused(action, *fragments):
    """The one short sentence that an action ends with."""
    with pytest.raises(InputError) as caught:
        action()
    message = str(caught.value)
    assert len(message) < 300 and message.isprintable() and message[-1] in ".?", message
    for fragment in fragments:
        assert fragment in message, message
    return message


# --- encodings ------------------------------------------------------------------------------------


@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"], ids=["unix", "windows", "old"])
def test_study_is_read_in_any_common_encoding(write, encoding, end):
    study = write(NAMED.replace("\n", end).encode(encoding))
    assert study.base == "kürzer é" and study.engine == load(demo_path("collector")).engine


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_table_is_read_in_any_common_encoding(tmp_path, encoding):
    path = tmp_path / "a.csv"
    path.write_bytes("rpm,Zündung °\n1000,8.5\n2000,12\n".encode(encoding))
    assert Table.from_csv(path, "rpm", "Zündung °").y == (8.5, 12.0)


TABLES = {
    "semicolons and decimal commas": "rpm;deg\n1000;8,5\n2000;12,25\n",
    "semicolons and decimal points": "rpm;deg\n1000;8.5\n2000;12.25\n",
    "tabs": "rpm\tdeg\n1000\t8,5\n2000\t12,25\n",
    "quotes": '"rpm","deg"\n"1000","8.5"\n"2000","12.25"\n',
    "semicolon in quotes": '"rpm; engine",deg\n1000,8.5\n2000,12.25\n',
    "empty columns and rows": "rpm,deg,,\n1000,8.5,,\n,,,\n2000,12.25,,\n,,,\n",
    "spaces": " rpm , deg \n 1000 , 8.5 \n\n 2000 , 12.25 \n",
    "remarks": "# made by me\nrpm,deg\n# slow\n1000,8.5\n2000,12.25\n",
    "exponents": "rpm;deg\n1e3;0,85e1\n2E3;1,225E1\n",
    "three decimals": "rpm;deg\n1000;8,500\n2000;0,012250e3\n",
    "remarks with commas": "rpm;deg;remark\n1000;8.5;slow, warm\n2000;12.25;a, b, c\n",
    "one more column": "rpm,deg,remark\n1000,8.5,slow\n2000,12.25,fast\n",
    "no last line end": "rpm,deg\n1000,8.5\n2000,12.25",
}


@pytest.mark.parametrize("how", TABLES)
def test_table_of_any_common_form_is_read_rightly(tmp_path, how):
    (tmp_path / "a.csv").write_text(TABLES[how])
    table = Table.from_csv(tmp_path / "a.csv")
    assert table.x == (1000.0, 2000.0) and table.y == pytest.approx((8.5, 12.25), rel=1e-15)


BAD_TABLES = {
    "decimal commas between commas": ("rpm,deg\n1000,8,5\n2000,12,25\n",
                                      ["line 2 has 3 cells, the header 2", "semicolons"]),
    "thousands or decimals": ("rpm;deg\n1,000;8\n2,000;12\n", ["thousands", "not clear"]),
    "thousands in quotes": ('rpm,deg\n"1,000",8\n"2,000",12\n', ["line 2 has no number", "rpm"]),
    "points and commas": ("rpm;deg\n1000;8,5\n2000;12.25\n", ["points and decimal commas"]),
    "both in one": ("rpm;deg\n1000;8,5\n2.000,0;12\n", ["line 3 has no number"]),
    "doubled header": ("rpm,deg,rpm\n1000,8,1\n2000,12,2\n", ["'rpm' stands 2 times"]),
    "units in a second header": ("rpm,deg\nrev/min,deg\n1000,8\n", ["line 2 has no number"]),
    "header once more": ("rpm,deg\n1000,8\nrpm,deg\n2000,9\n", ["line 3 has no number"]),
    "spaces between cells": ("rpm deg\n1000 8\n2000 12\n", ["needs 2 columns, found 1"]),
    "huge cell": ("rpm,deg\n1000," + "8" * 200_000 + "\n", ["a.csv: line 2 cannot be read"]),
    "huge number": ("rpm,deg\n1000,8\n2000," + "9" * 5000 + "\n", ["y[1] = inf", "finite"]),
    "underscores": ("rpm,deg\n1_000,8\n2_000,9\n", ["line 2 has no number"]),
    "hexadecimal": ("rpm,deg\n0x10,8\n0x20,9\n", ["line 2 has no number"]),
    "quote that never ends": ('"rpm,deg\n1000,8\n2000,9\n', ["needs 2 columns, found 1"]),
    "NUL": ("rpm,deg\n1000,8\0\n2000,9\n", ["holds no text"]),
    "binary": (bytes(range(256)) * 10, ["holds no text"]),
    "a picture": (b"\x89PNG\r\n\x1a\n" + bytes(50), ["holds no text"]),
    "nothing": ("", ["the file is empty"]),
    "only a mark": (b"\xef\xbb\xbf", ["the file is empty"]),
    "half a letter": ("rpm,deg\n".encode("utf-16")[:-1], ["holds no text"]),
    "not a number": ("rpm,deg\n1000,nan\n2000,8\n", ["y[0] = nan", "finite"]),
    "too large": (b"1,2\n" * 5_000_000, ["larger than 16 MB"]),
}


@pytest.mark.parametrize("how", BAD_TABLES)
def test_table_that_cannot_be_read_rightly_is_refused(tmp_path, how):
    content, fragments = BAD_TABLES[how]
    path = tmp_path / "a.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    columns = ("rpm", "deg") if how in ("doubled header", "thousands in quotes") else ()
    refused(lambda: Table.from_csv(path, *columns), "a.csv", *fragments)


# --- study files ----------------------------------------------------------------------------------

BAD_STUDIES = {
    "nothing": (b"", ["missing key rpm, engine, exhaust"]),
    "binary": (bytes(range(256)), ["holds no text"]),
    "NUL": (DEMO.encode() + b"\0", ["holds no text"]),
    "half a letter": (DEMO.encode("utf-16")[:-1], ["holds no text"]),
    "lists 3000 deep": ("x = " + "[" * 3000 + "]" * 3000, ["too deep within one another"]),
    "tables 3000 deep": ("x = " + "{a = " * 3000 + "1" + "}" * 3000, ["too deep"]),
    "key of 3000 steps": (".".join("a" * 3000) + " = 1", ["too deep"]),
    "lists 100 deep": (DEMO.replace("bore = 0.086", "bore = " + "[" * 100 + "]" * 100),
                       ["too deep"]),
    "number of 5000 digits": (DEMO.replace("bore = 0.086", "bore = " + "9" * 5000),
                              ["a number is too long"]),
    "number of 1000 digits": (DEMO.replace("bore = 0.086 ", f"bore = {'9' * 1000} "),
                              ["Engine: bore = inf m", "not a finite"]),
    "infinity": (DEMO.replace("bore = 0.086 ", "bore = inf "), ["bore = inf m", "finite"]),
    "date": (DEMO.replace("bore = 0.086 ", "bore = 1979-05-27 "), ["bore = ", "not a number"]),
    "decimal comma": (DEMO.replace("bore = 0.086", "bore = 0,086"), ["no valid TOML"]),
    "semicolon": (DEMO.replace("bore = 0.086 ", "bore = 0.086;"), ["no valid TOML"]),
    "twice the same key": (DEMO.replace("bore = 0.086", "bore = 1\nbore = 0.086"),
                           ["no valid TOML"]),
    "twice the same table": (DEMO + "\n[engine]\nbore = 1\n", ["no valid TOML"]),
    "engine is a number": ("rpm = [1000]\nengine = 5\n[exhaust]\nprimary = {length = 1, diameter"
                           " = 0.04}\nmerge = 'none'\n", ["engine: Engine = 5 must be a table"]),
    "name with a line end": (DEMO.replace('name = "', 'name = "a\\n', 1), ["name = 'a\\n"]),
    "name with an escape": (DEMO.replace('name = "short collector"', 'name = "\\u001b[2J"'),
                            ["name = '\\x1b[2J'", "control"]),
    "name of a million letters": (DEMO.replace('name = "short collector"', f'name = "{"x" * 10**6}"'
                                               ), ["has 1000000 letters"]),
    "index of 5000 digits": (DEMO.replace('"exhaust.collector.length"',
                                          f'"exhaust.collector.{"9" * 5000}.length"'),
                             ["more than 1000"]),
    "index of 900 digits": (DEMO.replace('"exhaust.collector.length"',
                                         f'"exhaust.collector.{"9" * 900}.length"'),
                            ["no field '999"]),
    "path of 100 steps": (DEMO.replace('"exhaust.collector.length"',
                                       f'"exhaust.{".".join("a" * 100)}"'), ["101 steps"]),
    "variant from a list": (DEMO.replace('name = "long collector"',
                                         'name = "long collector"\nfrom = [1]'), ["from = [1]"]),
    "too large": (b"# " + b"x" * 3_000_000, ["larger than 2 MB"]),
    "no file but a name with NUL": (DEMO.replace('"intake_lift.csv"', '"a\\u0000b"'),
                                    ["csv: path = 'a\\x00b'"]),
    "empty name of a table": (DEMO.replace('"intake_lift.csv"', '""'), ["csv: path = ''"]),
    "a folder for a table": (DEMO.replace('"intake_lift.csv"', '"."'), ["no ordinary file"]),
}  # fmt: skip


@pytest.mark.parametrize("how", BAD_STUDIES)
def test_study_that_cannot_be_read_is_refused_in_one_sentence(write, how):
    content, fragments = BAD_STUDIES[how]
    refused(lambda: write(content), *fragments)


def test_all_faults_of_a_study_are_told_in_one_go_and_numbered(write):
    text = DEMO
    for old, new in {
        "bore = 0.086 ": "boer = 0.086 ", "stroke = 0.086 ": "stroke = 86 ",
        "lobe_centre_deg = 109": "lobe_centre_deg = 999",
        "[exhaust.collector]\nlength = 0.15": "[exhaust.collector]\nlength = -0.15",
        '"exhaust.collector.length" = 0.60': '"exhaust.primary.diameter" = 38, "engine.rod" = 143',
        "[settings]": "[settings]\nmin_cycles = 0", "rpm = [2000,": "rpm = [2000, 3.0,",
        'model = "momentum"': 'model = "momentun"',
    }.items():
        assert old in text, old
        text = text.replace(old, new, 1)
    with pytest.raises(InputError) as caught:
        write(text)
    head, *lines = str(caught.value).splitlines()
    assert head == f"study.toml has {len(lines)} faults:"
    assert [line.split()[0] for line in lines] == [f"({i + 1})" for i in range(len(lines))]
    for fragment in ("did you mean 'bore'", "stroke = 86 m", "lobe_centre_deg = 999 deg",
                     "length = -0.15 m", "did you mean 'momentum'", "min_cycles = 0",
                     "rpm[1] = 3 rev/min",
                     "variants 'long collector': engine: Engine: rod = 143 m",
                     "variants 'long collector': exhaust.primary: Pipe: diameter = 38 m"):
        assert sum(fragment in line for line in lines) == 1, fragment
    assert len(lines) == 9 and all(len(line) < 305 for line in lines)


def test_faults_of_several_variants_are_told_together(write):
    text = DEMO + '\n[[variants]]\nname = "a"\nset = {"exhaust.collector.length" = 99}\n'
    text += '\n[[variants]]\nname = "b"\nset = {"exhaust.colector.length" = 0.5}\n'
    with pytest.raises(InputError) as caught:
        write(text)
    lines = str(caught.value).splitlines()
    assert len(lines) == 3 and "variants 'a'" in lines[1] and "variants 'b'" in lines[2]


def test_faults_are_printed_line_by_line(write, folder, tmp_path, capsys):
    (folder / "study.toml").write_text(DEMO.replace("bore = 0.086 ", "bore = 86 ")
                                       .replace("stroke = 0.086 ", "stroke = 86 "))
    assert main(["run", str(folder / "study.toml"), "--out", str(tmp_path / "out")]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert lines[0] == "wavesim: study.toml has 2 faults:" and lines[1].startswith("(1) engine")


# --- other people's files -------------------------------------------------------------------------


def strange(name):
    return DEMO.replace('csv = "intake_lift.csv"', f'csv = "{name}"')


@pytest.mark.parametrize("how", ["up", "absolute", "link", "linked folder", "up and down"])
def test_study_reads_nothing_outside_its_folder_without_a_switch(write, folder, tmp_path, how):
    table = folder / "intake_lift.csv"
    outside = tmp_path / "elsewhere" / "lift.csv"
    outside.parent.mkdir()
    outside.write_text(table.read_text())
    if how == "link":
        (folder / "link.csv").symlink_to(outside)
    if how == "linked folder":
        (folder / "more").symlink_to(outside.parent)
    name = {"up": "../elsewhere/lift.csv", "absolute": str(outside), "link": "link.csv",
            "linked folder": "more/lift.csv", "up and down": "../study/../elsewhere/lift.csv"}[how]
    refused(lambda: write(strange(name)), "outside the folder", "--outside")
    assert write(strange(name), outside=True).engine == load(demo_path("collector")).engine


def test_study_reads_below_its_folder_by_any_path(write, folder):
    (folder / "more").mkdir()
    shutil.copy(folder / "intake_lift.csv", folder / "more" / "lift.csv")
    for name in ("more/lift.csv", "./more/../more/lift.csv", str(folder / "more" / "lift.csv")):
        assert write(strange(name)).engine == load(demo_path("collector")).engine


def test_switch_of_the_command_line_opens_other_folders(write, folder, tmp_path, capsys):
    shutil.copy(folder / "intake_lift.csv", tmp_path / "lift.csv")
    (folder / "study.toml").write_text(strange("../lift.csv"))
    run = ["run", str(folder / "study.toml"), "--out", str(tmp_path / "out"), "--rpm", "1"]
    assert main(run) == 2 and "outside the folder" in capsys.readouterr().err
    assert main([*run, "--outside"]) == 2 and "rpm[0] = 1 rev/min" in capsys.readouterr().err


def test_files_of_a_study_are_all_that_it_reads(folder):
    assert {path.name for path in files_of(next(folder.glob("*.toml")))} == set(os.listdir(folder))


SECRETS = {
    "one word": SECRET, "lines": f"user {SECRET}\nother {SECRET}\n",
    "like a table": f"name,{SECRET}\n{SECRET},5\n", "numbers": f"{SECRET},x\n1,2\n1,{SECRET}\n",
    "colons": f"root:x:0:{SECRET}\n", "key": f"-----BEGIN {SECRET}-----\n{SECRET * 9}\n",
    "in quotes": f'"{SECRET}\n', "wide": ",".join([SECRET] * 50) + "\n1\n",
    "more cells": f"a,b\n1,2,{SECRET}\n", "semicolons": f"a;b\n1,5;{SECRET}\n2.5;1\n",
    "binary": f"{SECRET}\0\1\2",
}  # fmt: skip


@pytest.mark.parametrize("how", SECRETS)
@pytest.mark.parametrize("columns", ['angle = "angle_deg", lift = "lift"', ""],
                         ids=["named", "first"])
def test_messages_never_repeat_what_a_table_holds(write, folder, how, columns):
    (folder / "secret.txt").write_text(SECRETS[how])
    table = f'lift = {{csv = "secret.txt", lobe_centre_deg = 109, {columns}}}'.replace(", }", "}")
    start = DEMO.index("[engine.intake_valve.lift]")
    stop = DEMO.index("\n[", start)
    text = DEMO[:start] + DEMO[stop:]
    text = text.replace("[engine.intake_valve]", f"[engine.intake_valve]\n{table}")
    assert SECRET not in refused(lambda: write(text), "secret.txt")


def test_names_of_the_columns_of_a_table_of_numbers_are_offered(tmp_path):
    (tmp_path / "a.csv").write_text("rpm,deg\n1,2\n2,3\n")
    refused(lambda: Table.from_csv(tmp_path / "a.csv", "rmp"), "'rpm', 'deg'", "mean 'rpm'?")


def test_pipes_and_devices_are_not_waited_for(write, folder):
    os.mkfifo(folder / "fifo.csv")
    (folder / "zero.csv").symlink_to("/dev/zero")
    refused(lambda: write(strange("fifo.csv")), "no ordinary file")
    refused(lambda: write(strange("zero.csv"), outside=True), "no ordinary file")
    refused(lambda: load(folder / "fifo.csv"), "no ordinary file")
