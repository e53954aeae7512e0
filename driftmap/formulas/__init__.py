"""Published formulas and tables, one idea a module, each with its source."""
