"""The way up and the way down of many bodies at once."""
