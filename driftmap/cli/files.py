"""Write results so that a failure leaves nothing half done."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

__all__ = ["write_all"]


def write_all(folder: Path, files: Mapping[str, str]) -> None:
    """Write several text files into a folder, each whole or not at all.

    Parameters
    ----------
    folder : Path
        Made if it is not there.
    files : mapping of str to str
        Text by file name.

    Raises
    ------
    OSError
        If the folder cannot be made or written to.
    """
    folder.mkdir(parents=True, exist_ok=True)
    waiting: list[tuple[str, Path]] = []
    try:
        for name, text in files.items():
            handle, temporary = tempfile.mkstemp(dir=folder, prefix=f".{name}.")
            waiting.append((temporary, folder / name))
            with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
                file.write(text)
        mask = os.umask(0)
        os.umask(mask)
        for temporary, target in waiting:
            Path(temporary).chmod(0o666 & ~mask)
            Path(temporary).replace(target)
    finally:
        for temporary, _ in waiting:
            Path(temporary).unlink(missing_ok=True)
