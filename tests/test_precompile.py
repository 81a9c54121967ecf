"""The first compilation has help; what the helper leaves behind is found."""

import os
import subprocess
import sys

import pytest

from wavesim.march import precompile


@pytest.fixture
def helpers(monkeypatch):
    """Nothing is compiled, and processes are only noted down: command, and how they ended."""
    noted = []

    class Process:
        def __init__(self, command, **_):
            noted.append([command])

        def terminate(self):
            noted[-1].append("terminated")

        def wait(self):
            noted[-1].append("waited for")

    monkeypatch.setattr(precompile, "_looked", False)
    monkeypatch.setattr(precompile, "is_compiled", lambda *_: False)
    monkeypatch.setattr(precompile, "is_kept", lambda: True)
    monkeypatch.setattr(precompile.os, "cpu_count", lambda: 2)
    monkeypatch.setattr(precompile.subprocess, "Popen", Process)
    return noted


def test_one_helper_is_started_and_ends_with_the_first_march(helpers):
    with pytest.raises(ZeroDivisionError), precompile.help_to_compile():
        assert helpers == [[[sys.executable, "-m", "wavesim.march.precompile"]]]
        with precompile.help_to_compile():  # another thread
            pass
        raise ZeroDivisionError
    assert helpers == [
        [[sys.executable, "-m", "wavesim.march.precompile"], "terminated", "waited for"]
    ]


@pytest.mark.parametrize("compiled", [True, False])
def test_compilation_is_announced_only_when_needed(helpers, monkeypatch, capsys, compiled):
    monkeypatch.setattr(precompile, "is_compiled", lambda *_: compiled)
    for _ in range(2):
        with precompile.help_to_compile():
            pass
    assert capsys.readouterr().err.count("compiled first") == (0 if compiled else 1)


@pytest.mark.parametrize("name, value", [("is_compiled", True), ("is_kept", False)])
def test_no_helper_where_it_is_of_no_use(helpers, monkeypatch, name, value):
    monkeypatch.setattr(precompile, name, lambda *_: value)
    with precompile.help_to_compile():
        assert not helpers


@pytest.mark.slow
def test_share_of_the_helper_is_found_in_the_cache(tmp_path):
    environment = os.environ | {"WAVESIM_CACHE": str(tmp_path)}
    subprocess.run([sys.executable, "-m", "wavesim.march.precompile"], check=True, env=environment)
    for name in ("nodes.solve_ends", "stores.stores_ahead", "stores.stores_step"):
        assert list(tmp_path.rglob(f"{name}-*.nbc")), name
