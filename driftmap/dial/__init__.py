"""The wind dial: every surface wind worked out beforehand, read at the pad in one page."""
