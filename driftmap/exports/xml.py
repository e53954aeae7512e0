"""XML text, the same bytes for the same content."""

from __future__ import annotations

from xml.etree import ElementTree as ET

from driftmap.exports.content import sound

__all__ = ["add", "document"]


def add(
    parent: ET.Element, name: str, text: str | None = None, /, **attributes: str
) -> ET.Element:
    """Add an element."""
    element = ET.SubElement(parent, name, attributes)
    element.text = None if text is None else sound(text)
    return element


def document(root: ET.Element) -> str:
    """Write a whole document."""
    ET.indent(root)
    body = ET.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{body}\n'
