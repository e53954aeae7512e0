"""The command line called as a shell calls it, without a process of its own.

A process costs half a second of imports each time; `test_cli` starts a real one where that
is what is tried.
"""

import contextlib
import io
import subprocess
import sys

from driftmap import cli


class _Kept(io.BytesIO):
    """Bytes that stay readable when the stream before them is gone."""

    def close(self):
        """Stay open."""


def driftmap(*arguments, cwd=None):
    """Give the exit code and what was said on standard output and on standard error."""
    raw = _Kept(), _Kept()
    streams = [io.TextIOWrapper(each, encoding="utf-8") for each in raw]
    words = ["driftmap", *map(str, arguments)]
    before = sys.stdout, sys.stderr, sys.argv
    sys.stdout, sys.stderr, sys.argv = *streams, words
    try:
        with contextlib.chdir(cwd) if cwd else contextlib.nullcontext():
            cli.main()
        code = 0
    except SystemExit as left:
        code = left.code if isinstance(left.code, int) else int(left.code is not None)
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        sys.stdout, sys.stderr, sys.argv = before
    out, err = (each.getvalue().decode("utf-8") for each in raw)
    return subprocess.CompletedProcess(words, code, out, err)
