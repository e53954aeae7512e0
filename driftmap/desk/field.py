"""What the folder says of the field: its site, its pads, its rules and the clock there."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from driftmap.core.errors import DriftmapError, InputError
from driftmap.core.files import parse_json
from driftmap.desk.folder import Folder
from driftmap.desk.winds import setting_at
from driftmap.ground.areas import Site
from driftmap.ground.site import read_site
from driftmap.rules.reading import own_files
from driftmap.winds.reading import Setting
from driftmap.winds.times import present as now

SITE = "site.geojson"
_ZONES = 3.5  # h; no land's clock is farther from its sun's, but for a corner of one
_DATE_LINE = 150.0  # deg; beyond it lands are a day from each other
_GREENWICH = 7.5  # deg: half an hour of the sun; farther off no field keeps UTC


@dataclass(frozen=True, slots=True)
class FieldFile:
    """The field of a folder, read as it stands."""

    folder: Folder

    def site(self, pad: str = "") -> Site:
        """Read the site about a pad; the first, where it has several and none is named."""
        if not self.folder.revision(SITE):
            raise InputError(SITE, "", "is not there yet: draw the field first")
        path = self.folder.path(SITE)
        return self.folder.once(SITE, pad, lambda: read_site(path, pad=pad or None))

    def setting(self, read_at: datetime | None = None) -> Setting:
        """Say what readers of winds must know here and now."""
        return setting_at(self.anywhere(), now(), read_at)

    def anywhere(self) -> Site:
        """Read the site about any of its pads: they share elevation and declination."""
        pads = self.pads()
        return self.site(pads[0] if len(pads) > 1 else "")

    def pads(self) -> list[str]:
        """Name the pads of the field; of several each flight must be given one."""
        try:
            told = [feature["properties"] for feature in self.tree()["features"]]
            return [str(p.get("name", "")) for p in told if p.get("role") == "pad"]
        except (KeyError, TypeError, AttributeError):
            return []  # what is wrong in it is told by its reader

    def tree(self) -> dict[str, Any]:
        """Read the site file as it stands; empty where it is broken."""
        try:
            tree = parse_json(self.folder.text(SITE) or "{}", SITE)
        except DriftmapError:
            return {}
        return tree if isinstance(tree, dict) else {}

    def doubt(self) -> str:
        """Say why a time of day without a zone may mean another; empty where none does.

        A clock that shows UTC far from Greenwich is not the one on the wrist, nor is one
        that is hours from the sun's time there.
        """
        try:
            longitude = self.anywhere().longitude
        except DriftmapError:
            return ""
        ahead = now().astimezone().utcoffset() or timedelta(0)
        if not ahead and abs(longitude) > _GREENWICH:
            return "this computer's clock shows UTC, not the field's time"
        off = ahead / timedelta(hours=1) - longitude / 15
        if abs(longitude) > _DATE_LINE:
            off = (off + 12) % 24 - 12
        if abs(off) > _ZONES:
            return "this computer's clock is hours from the field's time"
        return ""

    def rule_files(self) -> list[Path]:
        """Name the club's own rules that the site names, and those that they extend."""
        told = str(self.tree().get("rules", "")).split(",")
        return own_files(told, self.folder.root)

    def told(self) -> dict[str, Any]:
        """Tell what the list shows of the field."""
        told: dict[str, Any] = {"name": "", "revision": self.folder.revision(SITE)}
        told |= {"problem": "", "pads": self.pads(), "people": []}
        try:
            site = self.anywhere()
            told["name"] = site.name
            told["people"] = [area.name for area in site.areas if area.occupied]
        except DriftmapError as problem:
            told["problem"] = self.folder.plain(problem)
        return {**told, "missing": not told["revision"]}
