"""Separate real effects from noise: each effect against the noise of its own unit."""
