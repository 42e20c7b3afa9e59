"""The backward equations: the probability that the last fluke dies."""
