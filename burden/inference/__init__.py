"""From counts and deaths to ponds that fit them."""
