"""Rules of the range as data: what applies to a flight, whether it is kept, and why.

Rules stand in TOML files beside this module, each row with its source; a club adds a file
of its own. To add a public set, write another file. To let rules speak of something new,
add a row to ``facts.csv`` or ``kinds.csv``.
"""

from __future__ import annotations

from driftmap.rules.answer_validity import Occasion
from driftmap.rules.answers import Answers, check_answers, questions, read_answers
from driftmap.rules.evaluate import evaluate
from driftmap.rules.facts import Facts, facts_of, surface_wind, with_answers
from driftmap.rules.reading import picked_rules, read_rules, rule_sets
from driftmap.rules.result import RuleResult
from driftmap.rules.ruleset import Question, Rule, RuleSet
from driftmap.rules.template import to_fill_in
from driftmap.rules.vocabulary import CLASS_BOUNDS, motor_class

__all__ = [
    "CLASS_BOUNDS",
    "Answers",
    "Facts",
    "Occasion",
    "Question",
    "Rule",
    "RuleResult",
    "RuleSet",
    "check_answers",
    "evaluate",
    "facts_of",
    "motor_class",
    "picked_rules",
    "questions",
    "read_answers",
    "read_rules",
    "rule_sets",
    "surface_wind",
    "to_fill_in",
    "with_answers",
]
