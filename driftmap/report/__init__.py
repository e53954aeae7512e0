"""What people see: the map and its pictures. Nothing here decides or computes physics."""
