"""Figures of finished results: every coupon beside its mean, words beside the marks."""
