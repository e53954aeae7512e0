"""The briefing: one page to read aloud and post at the range."""
