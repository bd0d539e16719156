"""Cables and lamps on the page: the drawn tree, a proposal that is tried, and where a fault may be."""
