"""A stream to the terminal that shows what would steer it."""

from __future__ import annotations

import io
from typing import TextIO

from driftmap.errors import visible

__all__ = ["Plain"]


class Plain(io.TextIOWrapper):
    """Text that reaches people as it reads, whatever names and files hold."""

    _keep = ""

    @classmethod
    def of(cls, stream: TextIO, *, keep: str) -> TextIO:
        """Stand before a stream; one without a buffer beneath it is left as it is."""
        buffer = getattr(stream, "buffer", None)
        if buffer is None:
            return stream
        stream.flush()
        plain = cls(
            buffer,
            encoding=stream.encoding,
            errors=stream.errors,
            line_buffering=stream.isatty(),
            write_through=True,
        )
        plain._keep = keep
        return plain

    def write(self, text: str) -> int:
        """Write a text, each control in it as a picture."""
        super().write(visible(text, keep=self._keep))
        return len(text)
