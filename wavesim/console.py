"""Lines for people, on a console in whatever state it is.

A console may be closed, may end before we do (``| head``), may know only some letters, and a
program without a window has none.  A line that cannot be shown is lost; nothing else is.

Remarks go to the logger "wavesim", whose handler writes them to the error console: whoever wants
them elsewhere gives that logger another handler.
"""

import logging
import os
import sys

from tqdm import tqdm

_SELDOM = 15.0  # [s] between lines of progress where lines stay, as in a file


class _ToErrorConsole(logging.Handler):
    """Writes remarks, with the name of the library in front."""

    def emit(self, record):
        _write(sys.stderr, f"{record.name}: {record.getMessage()}\n")


_LOGGER = logging.getLogger("wavesim")
_LOGGER.addHandler(_ToErrorConsole())
_LOGGER.propagate = False


def say(text=""):
    """Print a line on the usual console."""
    _write(sys.stdout, f"{text}\n")


def tell(text):
    """Log a remark, which is printed on the error console unless the user has other plans."""
    _LOGGER.warning("%s", text)


def progress_bar(total, label, unit, *, shown=True):
    """Progress bar on the error console; in a file, where lines stay, a line now and then.

    Parameters
    ----------
    total : int
        How many steps there are.
    label, unit : str
        Title, and what is counted.
    shown : bool
        False makes one that cannot be seen.

    Returns
    -------
    tqdm.tqdm
    """
    console = _ErrorConsole()
    pause = {} if console.is_live else {"mininterval": _SELDOM, "maxinterval": 2.0 * _SELDOM}
    return tqdm(total=total, desc=label, unit=unit, disable=not shown, file=console,
                ncols=_width(), **pause)


def _is_live(stream):
    """True if what was written there can be written over: in a window, and in a notebook."""
    try:
        return stream.isatty() or type(stream).__module__.startswith("ipykernel")
    except (AttributeError, OSError, ValueError):
        return False


class _ErrorConsole:
    """The error console as a stream."""

    def __init__(self):
        self.is_live = _is_live(sys.stderr)

    @property
    def encoding(self):
        return getattr(sys.stderr, "encoding", None) or "ascii"

    def write(self, text):
        if not self.is_live:
            lines = (line.strip() for line in text.replace("\r", "\n").split("\n"))
            text = "".join(f"{line}\n" for line in lines if line)
        if text:
            _write(sys.stderr, text)

    def flush(self):
        """Every line is flushed when it is written."""


def _width():
    """Columns of the window with the error console, or None where there is no window."""
    try:
        return os.get_terminal_size(sys.stderr.fileno()).columns or None
    except (AttributeError, OSError, ValueError):
        return None


def let_go():
    """Turn away from consoles that are gone, so that the interpreter can end without complaint."""
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except (AttributeError, OSError, ValueError):
            _lead_to_nowhere(stream)


def _lead_to_nowhere(stream):
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)
    except (AttributeError, OSError, ValueError):
        pass


def _write(stream, text):
    if stream is None:
        return
    try:
        stream.write(text)
        stream.flush()
    except UnicodeEncodeError:
        letters = getattr(stream, "encoding", None) or "ascii"
        _write(stream, text.encode(letters, "backslashreplace").decode(letters))
    except (OSError, ValueError):  # gone, or closed
        pass
