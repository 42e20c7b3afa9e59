"""Dates, doses and agents: searched, judged, compared and followed by day."""
