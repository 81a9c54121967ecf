"""Arrays and a JSON header in one .npz file, without pickle."""

import json

import numpy as np

from wavesim.errors import InputError


def write_npz(file, arrays, header, *, compress):
    """Arrays and a JSON header into an open file, without pickle."""
    packed = np.frombuffer(json.dumps(header).encode(), dtype=np.uint8)
    (np.savez_compressed if compress else np.savez)(file, **arrays, header=packed)


def read_npz(path, form, owner):
    """Arrays and header of a file that `write_npz` has written.

    Parameters
    ----------
    path : str or Path
    form : str
        What the header calls its format.
    owner : str
        Class whose method writes such files, for messages.

    Raises
    ------
    InputError
        If the file is missing, damaged or of another kind.
    """
    try:
        with open(path, "rb") as file, np.load(file, allow_pickle=False) as npz:
            arrays = {name: npz[name] for name in npz.files}
        header = json.loads(bytes(arrays.pop("header")).decode())
    except OSError as error:
        raise InputError(
            f"{owner}: cannot read {str(path)!r}: {error.strerror or error}."
        ) from error
    except Exception as error:  # a damaged file may raise anything
        raise InputError(
            f"{owner}: {str(path)!r} is damaged or was not written by {owner}.save."
        ) from error
    if not isinstance(header, dict) or header.get("format") != form:
        raise InputError(f"{owner}: {str(path)!r} does not hold the format {form!r}.")
    return arrays, header
