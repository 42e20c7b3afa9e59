"""What is known of a set or an agent, on one sheet."""
