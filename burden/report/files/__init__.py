"""Files of a report."""
