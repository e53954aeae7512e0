"""Tables in a terminal."""

from __future__ import annotations

from collections.abc import Sequence

__all__ = ["plain", "text_table"]


def text_table(rows: Sequence[Sequence[str]]) -> str:
    """Align columns of text, the first row being the head.

    Parameters
    ----------
    rows : sequence of sequence of str
        Cells; numbers (cells that start with a digit) are set to the right.

    Returns
    -------
    str
        Lines of text.
    """
    cells = [[plain(cell) for cell in row] for row in rows]
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    lines = []
    for row in cells:
        parts = [
            cell.rjust(width) if cell[:1].isdigit() else cell.ljust(width)
            for cell, width in zip(row, widths, strict=True)
        ]
        lines.append("  ".join(parts).rstrip())
    lines.insert(1, "  ".join("-" * width for width in widths))
    return "\n".join(lines)


def plain(text: str) -> str:
    """Drop what could steer the terminal."""
    return "".join(c for c in text if c.isprintable())
