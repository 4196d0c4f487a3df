"""Hypothesis strategies for users' and our own property tests; needs the `test` extra."""
