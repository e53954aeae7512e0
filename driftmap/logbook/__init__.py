"""What was assessed, what was decided, what happened: a log that only grows."""
