"""The tests notice faults: a copy of the package is broken in one place, and its test must fail.

The copies run without the compiler, so that nothing is compiled for a fault.
"""

import os
import re
import shutil
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

import pytest
from faults import FAULTS, ROOT, Fault, copy_of_package, table


def run_tests(folder, tests):
    """Exit code and output of pytest on the copy of the package in `folder`.

    Without conftest and a plugin, which load for longer than most of the tests run; in a wide
    terminal, so that reasons of failures are not cut off.
    """
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-x", "--tb=no", "--noconftest", "-p", "no:cacheprovider",
         "-p", "no:hypothesispytest", f"--rootdir={ROOT}", "-c", ROOT / "pyproject.toml",
         *(ROOT / "tests" / test for test in tests)],
        cwd=folder, capture_output=True, text=True, timeout=300,
        env={**os.environ, "PYTHONPATH": str(folder), "WAVESIM_CACHE": str(folder),
             "NUMBA_DISABLE_JIT": "1", "COLUMNS": "400"},
    )
    return done.returncode, done.stdout + done.stderr


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    """The tests pass on a copy without a fault."""
    folder = tmp_path_factory.mktemp("sound")
    copy_of_package(folder)
    code, output = run_tests(folder, sorted({fault.test for fault in FAULTS}))
    assert code == 0, output


def run_with(folder, fault):
    """Exit code and output of the test of a fault on a copy with it."""
    copy_of_package(folder, fault)
    try:
        return run_tests(folder, [fault.test])
    finally:
        shutil.rmtree(folder / "wavesim")


@pytest.fixture(scope="module")
def runs(sound, request, tmp_path_factory):
    """What comes of every fault that was asked for, by its name; one for each core at a time."""
    wanted = [item.callspec.params["fault"] for item in request.session.items
              if "fault" in getattr(getattr(item, "callspec", None), "params", ())]
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        yield {fault.name: pool.submit(run_with, tmp_path_factory.mktemp("fault"), fault)
               for fault in wanted}
        pool.shutdown(cancel_futures=True)


@pytest.mark.parametrize("fault", FAULTS, ids=[fault.name for fault in FAULTS])
def test_fault_is_caught(runs, fault):
    """By a broken claim, not by a test that cannot run."""
    code, output = runs[fault.name].result()
    assert code != 0, f"fault {fault.name!r} is not caught by {fault.test}"
    assert code == 1 and re.search(r"^FAILED .* - (assert|AssertionError)", output, re.M), output


def test_fault_that_no_longer_applies_is_told(tmp_path):
    stale = Fault("old", "kernels/cells.py", "no such expression", "", "")
    with pytest.raises(AssertionError, match="fault 'old' does not apply any more"):
        copy_of_package(tmp_path, stale)


def test_guide_lists_the_faults():
    """After a change, `python tests/faults.py` prints the table anew."""
    assert table() in (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
