"""Rates of the life cycle against temperature, and its list of transitions."""
