"""Rules of the range as data: what applies to a flight, whether it is kept, and why.

Rules stand in TOML files beside this module, each row with its source; a club adds a file
of its own. To add a public set, write another file. To let rules speak of something new,
add a row to ``facts.csv`` or ``kinds.csv``.
"""
