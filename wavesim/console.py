"""Lines for people, on a console in whatever state it is.

A console may be closed, may end before we do (``| head``), may know only some letters, and a
program without a window has none.  A line that cannot be shown is lost; nothing else is.
"""

import os
import sys

from tqdm import tqdm


def say(text=""):
    """Print a line on the usual console."""
    _write(sys.stdout, f"{text}\n")


def tell(text):
    """Print a remark on the error console, with the name of the library in front."""
    _write(sys.stderr, f"wavesim: {text}\n")


def progress_bar(total, label, unit, *, shown=True):
    """Progress bar on the error console.

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
    return tqdm(total=total, desc=label, unit=unit, disable=not shown, file=_ErrorConsole(),
                ncols=_width())


class _ErrorConsole:
    """The error console as a stream."""

    @property
    def encoding(self):
        return getattr(sys.stderr, "encoding", None) or "ascii"

    def write(self, text):
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
