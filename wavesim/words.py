"""The workshop's words for what the library calls otherwise, for errors that offer the right name.

The left word is what people write, the right ones are names of the library, the likeliest first:
classes, fields or choices, in small letters and with spaces.  An error offers those that exist
where the word was written.
"""

import re

_SILENCER = ("perforated silencer", "chamber")
_HEADER = ("primary", "exhaust")
_CATALYST = ("monolith",)
_TAPER = ("end diameter", "pipe")

SYNONYMS = {
    # exhaust
    "muffler": _SILENCER,
    "silencer": _SILENCER,
    "absorption silencer": _SILENCER[:1],
    "expansion chamber": ("chamber",),
    "header": _HEADER,
    "headers": _HEADER,
    "manifold": _HEADER,
    "exhaust manifold": _HEADER,
    "extractors": _HEADER,
    "catalyst": _CATALYST,
    "catalyst brick": _CATALYST,
    "catalytic converter": _CATALYST,
    "converter": _CATALYST,
    "cat": _CATALYST,
    "brick": _CATALYST,
    "h pipe": ("bank link",),
    "balance pipe": ("h pipe", "bank link"),
    "crossover": ("h pipe", "bank link"),
    "crossover pipe": ("h pipe", "bank link"),
    "x pipe": ("bank link",),
    "crossing": ("x pipe", "bank link"),
    "y pipe": ("merge", "bank link"),
    "mid pipe": ("pipe",),
    "down pipe": ("pipe",),
    "downpipe": ("pipe",),
    "tip": ("tailpipe",),
    "quarter wave tube": ("side tube",),
    "quarter wave resonator": ("side tube",),
    "side branch": ("side tube",),
    "helmholtz resonator": ("resonator",),
    "restrictor": ("plate", "orifice"),
    "restriction": ("plate", "orifice"),
    "elbow": ("bend",),
    "mandrel bend": ("bend",),
    "cone": (*_TAPER, "cone length"),
    "merge collector": ("cone length", "merge"),
    "throat": ("cone diameter",),
    "taper": _TAPER,
    "reverse cone": ("megaphone", *_TAPER),
    "primary tube": ("bent tube", "primary"),
    "gasket": ("flange",),
    "tube": ("pipe",),
    "bore": ("diameter",),
    "insulation": ("wrap",),
    "lagging": ("wrap",),
    # engine
    "petrol": ("gasoline",),
    "gas": ("gasoline",),
    "alcohol": ("ethanol", "methanol"),
    "connecting rod": ("rod",),
    "conrod": ("rod",),
    "cr": ("compression ratio",),
    "air fuel ratio": ("air fuel lambda",),
    "afr": ("air fuel lambda",),
    "lambda": ("air fuel lambda", "lam"),
    "airbox": ("airbox volume", "plenum volume", "volume"),
    "air filter": ("filter", "resistance"),
    "air cleaner": ("filter", "resistance"),
    "carb": ("carburettor",),
    "carburetor": ("carburettor",),
    "velocity stack": ("stack",),
    "trumpet": ("stack",),
    "bell mouth": ("entry loss",),
    "plenum": ("plenum volume", "volume"),
    "throttle body": ("throttle diameter", "throttle"),
    "individual throttles": ("throttle at",),
    "camshaft": ("cam",),
    "poly": ("medium",),
    # runs
    "weather": ("ambient",),
    "humidity": ("relative humidity",),
    "speed": ("rpm",),
    "speeds": ("rpm",),
    "engine speed": ("rpm",),
    "revs": ("rpm",),
    "horsepower": ("power",),
}


def spoken(name):
    """A name in small letters with spaces: "SideTube", "side_tube" and "side-tube" are one.

    >>> [spoken(name) for name in ("SideTube", "XPipe", "x-pipe", "end_diameter")]
    ['side tube', 'x pipe', 'x pipe', 'end diameter']
    """
    parted = re.sub(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])", " ", str(name))
    return re.sub(r"[\s_-]+", " ", parted).strip().lower()


def meant(word, names):
    """Those of `names` that a word of the workshop means, the likeliest first; often none.

    Parameters
    ----------
    word : object
        What was written.
    names : iterable of str
        What could have been meant.

    Examples
    --------
    >>> meant("Muffler", ["Pipe", "Chamber", "PerforatedSilencer"])
    ['PerforatedSilencer', 'Chamber']
    >>> meant("x_pipe", ["HPipe", "XPipe"])
    ['XPipe']
    """
    known = {spoken(name): str(name) for name in names}
    word = spoken(word)
    return [known[name] for name in (word, *SYNONYMS.get(word, ())) if name in known]
