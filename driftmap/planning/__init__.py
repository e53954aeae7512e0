"""Planning a site and a day, and the dial of all its winds: many verdicts, never a second way to compute one.

Every figure here comes from `driftmap.planning.trial.try_flight`, which flies, judges and
decides with the functions that an assessment uses, on the same seed for all alternatives.
"""
