"""What people see: map, sheet, dial, plans, and their words in every language. Nothing here decides or computes physics."""
