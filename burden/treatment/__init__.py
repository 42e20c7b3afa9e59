"""Agents: concentration, kill, amount, residues and what speaks against a dose."""
