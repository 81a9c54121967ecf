"""The page of quantities: python tests/quantity_page.py > wavesim/show/quantities.md"""

from wavesim.show.quantities import CYLINDERS, QUANTITIES, SOUNDS, TRACES, display

HEAD = """# What the numbers mean

Every number of a result stands under a name with one meaning and one SI unit. In Python \
`print(ws.quantity_table("pmep"))` says the same as this page, and `print(ws.quantity_table())` \
all of it; CSV files hold it in their first lines. Printed tables and figures use the units \
under *shown in*.

Some words are used alike everywhere. Pressures are static and absolute unless their name says \
otherwise. *Fresh charge* is air with its fuel; *burned gas* is what combustion made of it, with \
any air to spare; the rest is outside air. A cycle is two turns of the crankshaft. Angles of a \
cylinder count from its own firing top dead centre.
"""
POINT = """## Of an operating point

`point.torque` is a number, `sweep["torque"]` an array over speed.
"""
CYLINDER = """## By cylinder

`point.cylinders["imep_net"]` is an array with one number for each cylinder. Amounts belong to \
the last cycle; the numbers of the whole engine are made of them, to the last bit.
"""
OWN = """The following have the meaning that they have for the whole engine, each cylinder \
counted alone: {}.
"""
TRACE = """## Traces

`point.trace(quantity, at)` or, in a duct, `point.trace(quantity, duct, x)`: against crank angle \
in an engine, against time in `ws.simulate`. A node is the end of one duct, such as `"exhaust \
valve 1"` or `"outlet"`.
"""
SOUND = """## Sound

`ws.sound_curve(sweep)` holds levels at every speed, of the exhaust or of the intake, at a stated \
distance.
"""


def table(quantities):
    """Markdown table."""
    lines = ["| name | label | SI unit | shown in | meaning |", "|---|---|---|---|---|"]
    for name, found in quantities.items():
        unit = "" if found.unit == "1" else found.unit
        lines.append(
            f"| `{name}` | {found.label} | {unit} | {display(name).unit} | {found.meaning} |"
        )
    return "\n".join(lines) + "\n"


def page():
    """The whole text."""
    own = {name: found for name, found in CYLINDERS.items() if name not in QUANTITIES}
    shared = ", ".join(f"`{name}`" for name in CYLINDERS if name in QUANTITIES)
    return "\n".join([
        HEAD, POINT, table(QUANTITIES), CYLINDER, table(own), OWN.format(shared), TRACE,
        table(TRACES), SOUND, table(SOUNDS),
    ])


if __name__ == "__main__":
    print(page(), end="")
