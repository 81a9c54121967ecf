"""Run the notebooks and store what they print and draw in them, small.

    python notebooks/store.py [NAME ...]

A figure becomes a PNG of few colours, so that a notebook stays below a few hundred kilobytes and a
change of a number shows as a small difference.
"""

import base64
import contextlib
import io
import json
import sys
from pathlib import Path

import matplotlib

HERE = Path(__file__).parent
DPI, COLOURS = 60, 48


def load(name):
    """A notebook as plain data."""
    return json.loads((HERE / f"{name}.ipynb").read_text(encoding="utf-8"))


def run(name):
    """Names that all code cells leave behind, and what each cell printed and drew, in order."""
    from matplotlib import pyplot

    pyplot.close("all")  # what others left open is none of the notebook's
    found, shown = {}, []
    for i, cell in enumerate(load(name)["cells"]):
        if cell["cell_type"] != "code":
            continue
        printed = io.StringIO()
        with contextlib.redirect_stdout(printed):
            exec(compile("".join(cell["source"]), f"{name}, cell {i}", "exec"), found)
        shown.append((printed.getvalue(), [_png(pyplot.figure(n)) for n in pyplot.get_fignums()]))
        pyplot.close("all")
    return found, shown


def _png(figure):
    """A figure as a small PNG file."""
    from PIL import Image

    file, small = io.BytesIO(), io.BytesIO()
    figure.savefig(file, dpi=DPI)
    Image.open(file).convert("RGB").quantize(COLOURS).save(small, "PNG", optimize=True)
    return small.getvalue()


def outputs(printed, figures):
    """What a cell printed and drew, in the form in which notebooks keep it."""
    text = printed.splitlines(keepends=True)
    stream = [{"name": "stdout", "output_type": "stream", "text": text}] if text else []
    return stream + [
        {"data": {"image/png": base64.b64encode(png).decode() + "\n"}, "metadata": {},
         "output_type": "display_data"} for png in figures
    ]  # fmt: skip


def store(name):
    """Run a notebook and write it again with what its cells printed and drew."""
    book, (_, shown) = load(name), run(name)
    code = [cell for cell in book["cells"] if cell["cell_type"] == "code"]
    for number, (cell, (printed, figures)) in enumerate(zip(code, shown, strict=True), 1):
        cell["execution_count"], cell["outputs"] = number, outputs(printed, figures)
    text = json.dumps(book, indent=1, ensure_ascii=False) + "\n"
    (HERE / f"{name}.ipynb").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    matplotlib.use("Agg")
    for name in sys.argv[1:] or sorted(path.stem for path in HERE.glob("*.ipynb")):
        store(name)
