"""Published equations of the metallurgy of hardening steel; pure functions."""
