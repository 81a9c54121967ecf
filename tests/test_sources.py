"""Every default that is a matter of judgement says in its docstring where it comes from."""

import dataclasses
import inspect
import re

import pytest
from test_all_kinds import KINDS, paragraphs

#: Words that tell a source, or that there is none.
TOLD = re.compile(r"no\s+source|from\s+memory|\b1[89]\d\d\b|\b20\d\d\b|Diagram|our\s+choice")
#: Defaults that are nothing else than "as it is", "wide open" or a calculation's own.
NEUTRAL = {0.0, 1.0, 90.0}
#: Kinds whose numbers choose how to calculate and are set by tests of convergence.
APART = {"Settings"}


def judged():
    """Pairs (kind, field) whose default is a number that somebody had to choose."""
    for kind in KINDS:
        for field in dataclasses.fields(kind):
            number = isinstance(field.default, (int, float)) and not isinstance(field.default, bool)
            if number and kind.__name__ not in APART and field.default not in NEUTRAL:
                yield pytest.param(kind, field, id=f"{kind.__name__}.{field.name}")


@pytest.mark.parametrize(("kind", "field"), list(judged()))
def test_default_tells_its_source_or_that_it_has_none(kind, field):
    said = paragraphs(kind)[field.name]
    while (other := re.search(r"[Aa]s for `?(\w+)`?", said)) and not TOLD.search(said):
        said = paragraphs(next(k for k in KINDS if k.__name__ == other[1]))[field.name]
    assert TOLD.search(said), f"{kind.__name__}.{field.name} = {field.default}"


def test_class_without_a_source_is_noticed():
    class Bare:
        """Nothing.

        Parameters
        ----------
        size : float
            [m], 0 to 1.
        """

    assert not TOLD.search(paragraphs(Bare)["size"]) and inspect.getdoc(Bare)
