"""Optimisation over integers and arrays: no machine, no polygon, no clock."""
