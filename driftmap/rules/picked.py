"""Which rule sets a site or a person picked."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from driftmap.errors import InputError
from driftmap.ground.site import Site
from driftmap.rules.reading import read_rules, rule_sets
from driftmap.rules.ruleset import RuleSet

__all__ = ["picked_rules"]


def picked_rules(site: Site, names: Sequence[str] = ()) -> tuple[RuleSet, ...]:
    """Read the rule sets that were asked for, or else those that a site file names.

    Parameters
    ----------
    site : Site
        The site; its ``rules`` are names and paths with commas between them, paths
        starting from the folder of the site file.
    names : sequence of str
        Sets asked for on the command line; their paths start from the present folder.

    Returns
    -------
    tuple of RuleSet
        The sets.

    Raises
    ------
    InputError
        If no set is named anywhere, or one cannot be read.
    """
    if names:
        return read_rules(names, source="--rules")
    wanted = [name.strip() for name in site.rules.split(",") if name.strip()]
    if not wanted:
        known = ", ".join(rule_sets())
        text = f"names no rule set; write one there or give --rules: {known}"
        raise InputError(site.source, "rules", text)
    folder = Path(site.source).parent
    return read_rules(wanted, base=folder, source=f"{site.source}: rules")
