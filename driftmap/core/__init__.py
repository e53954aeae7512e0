"""What every room builds on: errors, kinds of checks, units, spreads, text files."""
