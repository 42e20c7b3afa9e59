"""What every room may use: errors, results that render themselves, seeded streams, progress, executors, writing of
numbers."""
