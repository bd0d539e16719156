"""Cables and fixtures as a tree, solved for volts and amperes."""
